// What stands in the page stays as it is while what it is made of is the same: nothing is exchanged under a finger.

import { fill } from "./dom.js";
import { handOn } from "./touched.js";

const made_of = new WeakMap();

/** Fill a place with `make()` (a list of elements) if `data` is not what it was made of before. */
export function refill(place, data, make) {
	const text = JSON.stringify(data ?? null);
	if (made_of.get(place) === text) return;
	made_of.set(place, text);
	const held = place.contains(document.activeElement);
	const open = new Set([...place.querySelectorAll("details[open][data-key]")].map((one) => one.dataset.key));
	fill(place, ...make().flat(Infinity).filter(Boolean));
	for (const one of place.querySelectorAll("details[data-key]")) one.open = open.has(one.dataset.key) || one.open;
	if (held) handOn(place);
}
