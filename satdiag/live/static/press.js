// Buttons that note the moment at which they are touched, and the words for what was entered.

import { el, MARKS } from "./dom.js";
import { language, t } from "./words.js";

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
	account: t("account"), audio: t("sound"), bias: t("antenna feed, {subject}"), channel: t("channel {subject}"),
	clock: t("step of the laptop's clock"), "configuration readback": t("stored equipment"),
	configuration: t("stored equipment, {subject}"), errors: t("block errors {subject}"), feed: t("antenna feed"),
	finding: t("finding {subject}"), gap: t("gap {subject}"), heading: t("heading"),
	identity: t("receiver's identifier"), listing: t("satellite source offered"), lock: t("lock {subject}"),
	noise: t("noise"), note: t("note"), place: t("place"), power: t("power"), reset: t("receiver"),
	"ring bus": t("optical ring"), "ring other-sources": t("optical ring, other sources"),
	ring: t("optical ring, {subject}"), signal: t("level {subject}"), site: t("site"),
	"supply receiver-minimum": t("lowest supply"), supply: t("supply"), "swap antenna": t("another antenna"),
	"swap lead": t("another lead"), "swap receiver": t("another receiver"), "swap place": t("another place"),
	tune: t("channel {subject}"),
};
const VALUES = {
	"account none": t("does not exist"), "channel authorised": t("plays"), "channel missing": t("not listed"),
	"channel no-signal": t("could not tell"), "configuration differs": t("does not match"), "feed on": t("turned on"),
	"feed off": t("turned off"), "gap lost": t("connection lost"), "gap silent": t("nothing heard"),
	"gap overflow": t("too much at once"), "identity match": t("agrees"), "identity mismatch": t("does not agree"),
	"reset seen": t("restarted by itself"), "ring present": t("answers"), "ring absent": t("does not answer"),
	"ring lost": t("not working"), "tune requested": t("changed to it"), "tune audio": t("sound heard"),
	"tune title": t("title seen"), "tune abandoned": t("gave up"),
};
const STATES = { // all other states, a hyphen become a blank
	off: t("off"), standby: t("standby"), awake: t("awake"), yes: t("yes"), no: t("no"), refused: t("refused"),
	playing: t("playing"), muted: t("muted"), broken: t("broken"), submitted: t("submitted"), confirmed: t("confirmed"),
	"resend requested": t("resend requested"), "resend confirmed": t("resend confirmed"), rejected: t("rejected"),
	lapsed: t("lapsed"), closed: t("closed"), open: t("open"), working: t("working"), matches: t("matches"),
	"open sky": t("open sky"), street: t("street"), canopy: t("canopy"), indoors: t("indoors"),
	underground: t("underground"), better: t("better"), same: t("same"), worse: t("worse"), excluded: t("excluded"),
	unreadable: t("unreadable"),
};
const PARTS = { // of subjects; names of satellites, nodes and sources stay
	satellite: t("satellite"), repeater: t("repeater"), any: t("any"), voltage: t("voltage"), current: t("current"),
	node: t("node"), position: t("position"), readback: t("readback"),
};
const words = (table, name) => (Object.hasOwn(table, name) ? table[name] : undefined);

/** A state in words, e.g. 'yes', 'open sky'. */
export function wordOf(state) {
	const plain = String(state).replaceAll("-", " ");
	return words(STATES, plain) ?? plain;
}

/** The name of a path or part, e.g. 'satellite east' of 'satellite:east'. */
export function nameOf(subject) {
	const [part, ...more] = subject.split(":");
	const name = more.join(":");
	return [words(PARTS, part) ?? part, part === "voltage" || part === "current" ? (words(PARTS, name) ?? name) : name]
		.filter(Boolean).join(" ");
}

/** What an entry says, in words. */
export function wordsOf({ kind, subject, value, unit }) {
	if (kind === "withdraw") return t("took an entry back");
	const about = kind === "gap" ? subject : nameOf(subject);
	const head = words(HEADS, `${kind} ${subject}`) ?? words(HEADS, kind) ?? `${kind} {subject}`;
	const said = ["note", "site"].includes(kind) ? value : unit ? reading(value, unit)
		: words(VALUES, `${kind} ${value}`) ?? wordOf(value);
	return t("{head}: {value}", { head: head.replace("{subject}", () => about), value: said });
}

/** A number as it was read, with the decimal sign of the language. */
export function said(number) {
	return language === "en" ? String(number) : String(number).replace(".", ",");
}

/** A reading with its unit, e.g. '3 of 5 bars', '45 %', '90°', '11.2 dB'. */
export function reading(value, unit) {
	if (value === null || value === undefined || value === "") return t("unknown");
	const bars = /^bars\/([1-9]\d{0,3})$/.exec(unit ?? "");
	if (value === "unreadable") return wordOf(value);
	if (bars) return t("{value} of {bars} bars", { value, bars: bars[1] });
	if (unit === "percent") return `${said(value)} %`;
	return unit === "deg" ? `${said(value)}°` : `${said(value)} ${unit ?? ""}`.trim();
}
