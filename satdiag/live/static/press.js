// Buttons that note the moment at which they are touched, and the words for what was entered.

import { el, MARKS } from "./dom.js";

const LONGEST_PRESS_MS = 3000;

/** Call `handler(stamp)` on a click, with the moment of the touch (or key) that began it. */
export function press(button, clock, handler) {
	let begun = null;
	const begin = () => (begun = clock.stamp());
	button.addEventListener("pointerdown", (event) => event.isPrimary && event.button === 0 && begin());
	button.addEventListener("keydown", (event) => !event.repeat && [" ", "Enter"].includes(event.key) && begin());
	button.addEventListener("pointercancel", () => (begun = null)); // it became a scroll
	button.addEventListener("click", () => {
		const fits = begun && performance.now() - begun.mono_ms < LONGEST_PRESS_MS;
		const stamp = fits ? begun : clock.stamp();
		begun = null;
		handler(stamp);
	});
	return button;
}

/** A button that enters something when pressed. `label`: what a screen reader says, if not the text. */
export function target(app, look, text, handler, label = null) {
	return press(el(`button.${look}`, text, { "aria-label": label }), app.clock, handler);
}

// The words of an entry are those of the laptop (wording.py), so that they do not change when it has been saved.
const HEADS = {
	account: "account", audio: "sound", bias: "antenna feed, {}", channel: "channel {}", clock: "step of the laptop's clock",
	"configuration readback": "stored equipment", configuration: "stored equipment, {}", errors: "block errors {}",
	feed: "antenna feed", finding: "finding {}", gap: "gap {}", heading: "heading", identity: "receiver's identifier",
	listing: "satellite source offered", lock: "lock {}", noise: "noise", note: "note", place: "place", power: "power",
	reset: "receiver", "ring bus": "optical ring", "ring other-sources": "optical ring, other sources", ring: "optical ring, {}",
	signal: "level {}", site: "site", "supply receiver-minimum": "lowest supply", supply: "supply", swap: "another {}",
	tune: "channel {}",
};
const VALUES = {
	"reset seen": "restarted by itself", "tune requested": "changed to it", "tune audio": "sound heard",
	"tune title": "title seen", "tune abandoned": "gave up",
	...Object.fromEntries(MARKS.map(({ value, word }) => [`channel ${value}`, word])),
};
const words = (table, name) => (Object.hasOwn(table, name) ? table[name] : undefined);

/** What an entry says, in words. */
export function wordsOf({ kind, subject, value, unit }) {
	if (kind === "withdraw") return "took an entry back";
	const about = kind === "gap" ? subject : subject.replace(":", " ");
	const head = words(HEADS, `${kind} ${subject}`) ?? words(HEADS, kind) ?? `${kind} {}`;
	const said = ["note", "site"].includes(kind) ? value : unit ? reading(value, unit)
		: words(VALUES, `${kind} ${value}`) ?? String(value).replaceAll("-", " ");
	return `${head.replace("{}", () => about)}: ${said}`;
}

/** A reading with its unit, e.g. '3 of 5 bars', '45 %', '90°', '11.2 dB'. */
export function reading(value, unit) {
	if (value === null || value === undefined || value === "") return "unknown";
	const bars = /^bars\/([1-9]\d{0,3})$/.exec(unit ?? "");
	if (value === "unreadable") return "unreadable";
	return bars ? `${value} of ${bars[1]} bars` : unit === "deg" ? `${value}°`
		: `${value} ${unit === "percent" ? "%" : (unit ?? "")}`.trim();
}
