// Specs in links.

import assert from "node:assert/strict";
import { test } from "node:test";
import { deflateRawSync, inflateRawSync } from "node:zlib";

import { fragmentOf, MOST_IN_QR, specIn } from "../../../../../api/kiosk/page/draft/share_link.js";

const SPEC = { spec: "1", name: "Schublade ⌀ 8", drawers: [{ name: "oben", width: [300], depth: [400], height: 60 }] };

test("a spec comes back from its fragment, which needs no escapes (RFC 3986: unreserved characters)", async () => {
  const fragment = await fragmentOf(SPEC);
  assert.match(fragment, /^#spec=[A-Za-z0-9_-]+$/);
  assert.deepEqual(await specIn(fragment), SPEC);
});

test("the fragment is raw deflate (RFC 1951) in base64url (RFC 4648)", async () => {
  const fragment = await fragmentOf(SPEC);
  assert.deepEqual(JSON.parse(inflateRawSync(Buffer.from(fragment.slice(6), "base64url")).toString()), SPEC);
});

test("other fragments hold no spec, and broken ones say so", async () => {
  assert.equal(await specIn(""), null);
  assert.equal(await specIn("#job=1"), null);
  for (const text of ["#spec=", "#spec=%%%", "#spec=AAAA"]) await assert.rejects(specIn(text));
});

test("a fragment that unpacks to more than a spec may have is refused", async () => {
  const bomb = deflateRawSync(Buffer.alloc(20_000_000, 32)).toString("base64url");
  await assert.rejects(specIn(`#spec=${bomb}`), RangeError);
});

test("a drawer with a dozen things fits in a QR code", async () => {
  const items = Array.from({ length: 12 }, (_, n) => ({ name: `thing number ${n}`, shape: { kind: "box", size: [20 + 7 * n, 15 + n, 10] }, count: n + 1, access: "often" }));
  const fragment = await fragmentOf({ ...SPEC, items });
  assert.ok(fragment.length < MOST_IN_QR / 2, String(fragment.length));
});
