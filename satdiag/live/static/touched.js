// What is under a finger is not exchanged, and what has just moved there takes nothing yet.

import { fill } from "./dom.js";

const HOLD_MS = 350; // between the end of a touch and its click
const LONGEST_TOUCH_MS = 8000; // its end may have been lost
const YOUNG_MS = 400; // so soon nobody has seen what came under the finger

/** `draw`, put off while `root` is being touched: what comes meanwhile is drawn afterwards, the last of it. */
export function untouched(root, draw) {
	let touched = false;
	let waiting = null;
	let timer = 0;
	const free = () => {
		const last = waiting;
		[touched, waiting] = [false, null];
		if (last) draw(...last);
	};
	const after = (wait_ms) => {
		clearTimeout(timer);
		timer = setTimeout(free, wait_ms);
	};
	const touch = () => {
		touched = true;
		after(LONGEST_TOUCH_MS);
	};
	const release = () => touched && after(HOLD_MS);
	root.addEventListener("pointerdown", touch);
	for (const name of ["pointerup", "pointercancel"]) window.addEventListener(name, release);
	root.addEventListener("keydown", ({ key }) => [" ", "Enter"].includes(key) && touch());
	window.addEventListener("keyup", release);
	return (...told) => {
		if (touched) waiting = told;
		else draw(...told);
	};
}

/** Make these the children of a place. What is there already stays the same element, with its focus. True if any moved. */
export function arrange(place, items) {
	const before = [...place.children];
	if (items.length === before.length && items.every((item, n) => item === before[n])) return false;
	const focused = place.contains(document.activeElement) ? document.activeElement : null;
	const stays = new Set(items);
	for (const one of before) if (!stays.has(one)) one.remove();
	let at = place.firstElementChild;
	for (const item of items) {
		if (item === at) at = at.nextElementSibling;
		else place.insertBefore(item, at);
	}
	if (focused && !place.contains(document.activeElement)) handOn(place.contains(focused) ? focused : place);
	return true;
}

/** Exchange the form in a place. What had the focus hands it, and where one writes, to what bears its name now. */
export function refill(place, ...children) {
	const had = place.contains(document.activeElement) ? document.activeElement : null;
	const at = had?.selectionStart;
	fill(place, ...children);
	const now = had && place.querySelector("form")?.elements[had.name];
	if (had) now ? now.focus({ preventScroll: true }) : handOn(place);
	if (now && at >= 0) now.setSelectionRange(at, at);
}

/** What lies in a place has moved: a tap that begins there within a moment was meant for something else. */
export function moved(place) {
	const at = String(performance.now());
	place.dataset.moved = at;
	setTimeout(() => place.dataset.moved === at && delete place.dataset.moved, YOUNG_MS);
}

/** Who uses a keyboard goes on from here. */
export function handOn(element) {
	if (element.tabIndex < 0) element.tabIndex = -1;
	element.focus({ preventScroll: true });
}

/** Let no key of the page be pressed by a finger that went down at another one, or at what had just moved there; then call
 * `say`. A browser clicks what is under a finger when it is lifted, whatever was there before. */
export function guardTaps(say) {
	let began = null; // the key or row at which the finger went down, and whether that had just moved
	window.addEventListener("pointerdown", ({ target, isPrimary }) => {
		if (isPrimary) began = { at: target.closest("button, a, li"), young: target.closest("[data-moved]") !== null };
	}, true);
	window.addEventListener("pointercancel", () => (began = null), true);
	window.addEventListener("click", (event) => {
		const [first, key] = [began, event.target.closest("button, a")];
		began = null;
		if (!first || !key || !event.detail) return; // a keyboard, or a program that reads the page, means what it presses
		const same = first.at ? first.at.contains(key) : !key.closest("li");
		if (same && !first.young) return;
		event.preventDefault();
		event.stopPropagation();
		say();
	}, true);
}
