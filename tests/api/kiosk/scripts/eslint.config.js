// Rules of style that the type checker does not hold.

import js from "@eslint/js";

export default [
  js.configs.recommended,
  {
    files: ["**/*.js", "**/*.mjs"],
    rules: {
      "no-undef": "off", // tsc knows all names
      "no-unused-vars": "off", // as above
      "eqeqeq": ["error", "always", { null: "ignore" }],
      "no-var": "error",
      "prefer-const": "error",
      "no-shadow": "error",
      "no-param-reassign": "error",
      "no-nested-ternary": "error",
      "no-await-in-loop": "off",
      "no-restricted-properties": ["error", { property: "innerHTML", message: "Text of a caller never becomes markup." }],
      "no-restricted-globals": ["error", "event", "name"],
      "object-shorthand": "error",
      "prefer-template": "error",
      "max-lines": ["error", { max: 500 }],
      "complexity": ["error", 25],
    },
  },
];
