// Templates of the views that are drawn from signals.

import "@preact/signals"; // binds signals to what is drawn

import htm from "htm";
import { Component, h } from "preact";

/** @type {(strings: TemplateStringsArray, ...values: any[]) => any} */
export const html = htm.bind(h);

/**
 * A component that is drawn only when one of its properties is another.
 * @extends {Component<any>}
 */
export class Memo extends Component {
  /** @param {Record<string, any>} next */
  shouldComponentUpdate(next) {
    /** @type {Record<string, any>} */
    const now = this.props;
    const keys = new Set([...Object.keys(now), ...Object.keys(next)]);
    return [...keys].some((key) => key !== "children" && now[key] !== next[key]);
  }

  /** @param {any} _props @returns {any} what a subclass draws */
  render(_props) {
    return null;
  }
}
