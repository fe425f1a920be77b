// Building the page: elements, the shapes of the four marks, dialogs. Words from outside only ever become text.

import { language, t, tn } from "./words.js";

/** An element, e.g. el("button.plain", { click: undo }, "Undo"): tag and classes, then texts, elements, lists of them, and
 * objects of attributes (false and null leave one out) and of functions, which are called on events of their name. */
export function el(what, ...parts) {
	const [tag, ...classes] = what.split(".");
	const made = document.createElement(tag);
	if (classes.length) made.className = classes.join(" ");
	if (tag === "button") made.type = "button";
	for (const part of parts.flat(Infinity)) {
		if (part === null || part === undefined || part === false) continue;
		if (typeof part !== "object" || part instanceof Node) made.append(typeof part === "string" ? whole(part) : part);
		else for (const [name, value] of Object.entries(part)) set(made, name, value);
	}
	return made;
}

function set(made, name, value) {
	if (typeof value === "function") made.addEventListener(name, value);
	else if (value !== null && value !== undefined && value !== false) made.setAttribute(name, value === true ? "" : value);
}

/** The element of an id. */
export function by(id) {
	return document.getElementById(id);
}

/** What localStorage keeps under a name; with a value, that is kept from now on (null: nothing). */
export function kept(name, value) {
	try {
		if (value === undefined) return JSON.parse(localStorage.getItem(name));
		localStorage.setItem(name, JSON.stringify(value));
	} catch {
		// Nothing is kept here: what must not be lost is in the queue, which says so.
	}
	return value ?? null;
}

/** Set an element's text, touching the page only on a change. */
export function put(element, text) {
	const shown = whole(String(text));
	if (element.textContent !== shown) element.textContent = shown;
}

/** Say in which language an element's text is, where that is not the page's: a screen reader pronounces it so. */
export function tongue(element, of) {
	const told = of && of !== language ? of : "";
	if (element.lang !== told) told ? (element.lang = told) : element.removeAttribute("lang");
}

/** A text in which no line ends between a number and its '%'. */
function whole(text) {
	return text.replace(/(\d) %/g, "$1\u00a0%");
}

/** Another element's children, exchanged for these. */
export function fill(element, ...children) {
	element.replaceChildren(...children.filter((child) => child !== null && child !== undefined));
}

// What a person sees of a channel: the value that is sent and its word. The shapes stand in the page.
export const MARKS = Object.entries({ authorised: t("plays"), refused: t("refused"), missing: t("not listed"),
	"no-signal": t("could not tell") }).map(([value, word]) => ({ value, word }));
const UNCHECKED = { value: "unchecked", word: t("not checked yet") };

/** The mark of a channel's state; an unknown state is 'not checked'. */
export function markOf(state) {
	return MARKS.find((mark) => mark.value === state) ?? UNCHECKED;
}

/** The shape of a state as a drawing; its word stands beside it, so it is hidden from screen readers. */
export function shape(state) {
	return by("shapes").content.querySelector(`.${markOf(state).value}`).cloneNode(true);
}

/** Put a state's shape into a place, touching the page only on a change. */
export function putShape(place, state) {
	if (place.dataset.state === String(state)) return;
	place.dataset.state = String(state);
	place.replaceChildren(shape(state));
}

/** A modal dialog with a heading and a button that closes it. Closed by Escape too, and removed when closed. */
export function dialog(title, ...children) {
	const shut = el("button.plain", { click: () => made.close() }, t("Close"));
	const made = el("dialog", { "aria-label": title }, el("h2", title), ...children, shut);
	made.addEventListener("close", () => made.remove());
	document.body.append(made);
	made.showModal();
	return made;
}

/** Seconds in words, e.g. '48 s', '12 min', '3 h 05 min'; 'unknown' for null. */
export function spell(seconds) {
	if (seconds === null || seconds === undefined || !Number.isFinite(seconds)) return t("unknown");
	const s = Math.max(0, Math.round(seconds));
	if (s < 100) return `${s} s`;
	const min = Math.round(s / 60);
	if (min < 120) return `${min} min`;
	if (min < 2880) return `${Math.floor(min / 60)} h ${String(min % 60).padStart(2, "0")} min`;
	return tn("one day", "{n} days", Math.round(min / 1440));
}

/** Seconds in words, as how long ago something was. */
export function ago(seconds) {
	return t("{time} ago", { time: spell(seconds) });
}
