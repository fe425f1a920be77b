// The antenna's feed of the view 'Wiring': voltage and current are entered, and the word for them stands there at once.

import { el, put } from "./dom.js";
import { judged, currentWord, stepOf, voltageWord } from "./feedword.js";
import { askNumber } from "./pad.js";
import { said, target } from "./press.js";
import { refill } from "./unchanged.js";
import { figure, t } from "./words.js";

const NAMES = { "": t("Feed"), satellite: t("Satellite conductor"), repeater: t("Repeater conductor") };
const UNITS = { voltage: "V", current: "mA" };
const ASKS = { voltage: t("Voltage (V)"), current: t("Current (mA)") };

/** The feed in a place. */
export function feedPart(app, place) {
	const typed = []; // readings made here, until the analysis has weighed them
	const leads = Object.fromEntries(Object.keys(NAMES).map((path) => [path, lead(path)]));
	let told = null;
	place.append(el("p.small", t("Measure with the antenna plugged in. The ammeter goes in series, never across the contacts: that shorts the feed.")),
		...Object.values(leads).map((one) => one.box),
		el("div.asked.enters", { role: "group", "aria-label": t("Noise-rise test") }, el("span", t("Noise-rise test")), el("div.choices",
			target(app, "choice-key", t("feed off"), (stamp) => app.enter({ kind: "feed", subject: "bias", value: "off" }, stamp)),
			target(app, "choice-key", t("feed on"), (stamp) => app.enter({ kind: "feed", subject: "bias", value: "on" }, stamp)),
			el("button.choice-key", t("Noise (dB)"), { click: () => askNumber(app, t("Noise"), "dB", true, (value, stamp) =>
				app.enter({ kind: "noise", subject: "receiver", value, unit: value === "unreadable" ? "" : "dB" }, stamp)) }))));

	/** One conductor: two keys, what was read here, the word. */
	function lead(path) {
		const made = { read: el("p.figure"), word: el("p.word", { role: "status" }), why: el("p.small"), windows: el("div") };
		const key = (quantity) => el("button.choice-key", ASKS[quantity], { click: () =>
			askNumber(app, path ? t("{lead}: {quantity}", { lead: NAMES[path], quantity: ASKS[quantity] }) : ASKS[quantity], UNITS[quantity], true,
				(value, stamp) => take(path, quantity, value, stamp)) });
		made.box = el(path ? "section.lead-box" : "div.lead-box", path ? { "aria-label": NAMES[path] } : {}, path ? el("h3", NAMES[path]) : null,
			el("div.choices.enters", key("voltage"), key("current")), made.read, made.word, made.why,
			el("details", { "data-key": `windows ${path}` }, el("summary", t("Which values mean what")), made.windows));
		return made;
	}

	function take(path, quantity, value, stamp) {
		const subject = path ? `${quantity}:${path}` : quantity;
		const tap = app.enter({ kind: "bias", subject, value, unit: value === "unreadable" ? "" : UNITS[quantity] }, stamp);
		if (!tap || value === "unreadable") return;
		typed.push({ id: `p-${tap.key}`, job: app.state?.job, path, quantity, number: Number(value), step: stepOf(value), at_ms: stamp.wall_ms + (stamp.offset_ms ?? 0) });
		show(path);
	}

	/** The word for a conductor, from what the analysis has read and what was typed since. */
	function show(path) {
		if (!told) return;
		const spot = leads[path];
		const own = typed.filter((one) => one.path === path && one.job === app.state?.job);
		const { windows } = told.leads[path];
		const nothing = (one) => (one.quantity === "voltage" ? voltageWord : currentWord)(windows, one.number) === "none";
		const readings = [...told.leads[path].recent, ...own.filter((one) => !(told.off && nothing(one)))].sort((a, b) => a.at_ms - b.at_ms);
		const off = told.off && own.some(nothing);
		const last = (quantity) => readings.findLast((one) => one.quantity === quantity);
		put(spot.read, ["voltage", "current"].map((quantity) => last(quantity)).filter(Boolean).map((one) => `${said(one.number)} ${UNITS[one.quantity]}`).join(", "));
		const found = readings.length ? judged(told.leads[path], told.rules, readings) : null;
		put(spot.word, found ? sign(found) : "");
		const state = found?.state ?? "";
		if (spot.word.dataset.state !== state) spot.word.dataset.state = state;
		put(spot.why, [off ? t("The receiver or its feed is noted as off: a reading of nothing says nothing of the wiring.") : "", found ? why(found) : ""].filter(Boolean).join(" "));
	}

	function sign({ state }) {
		if (state === null) return t("? cannot be told yet");
		return state === "normal" ? t("✓ {word}", { word: told.rules.words.normal }) : t("▲ {word}", { word: told.rules.words[state] });
	}

	function why({ doubt, chances }) {
		if (chances === null) return doubt ? `${doubt[0].toUpperCase()}${doubt.slice(1)}.` : "";
		const parts = Object.entries(chances).filter(([, p]) => p >= 0.01).sort(([, p], [, q]) => q - p)
			.map(([state, p]) => `${told.rules.words[state] ?? t("cannot be told")} ${figure(100 * p)} %`);
		return t("It lies beside the edge of a window ({chances}): measure it more exactly.", { chances: parts.join(", ") });
	}

	/** The edges of the words, with where they come from. */
	function windowsOf({ windows: w, voltage_from, current_from, nominal_v, series_ohm }) {
		const row = (text, value) => el("li", el("span", text), el("strong", value));
		const span = ([low, high], unit) => t("{low} to {high} {unit}", { low: short(low), high: short(high), unit });
		return [el("ul.list", row(t("normal voltage"), span(w.normal_v, "V")), row(t("no voltage: below"), `${short(w.no_voltage_v)} V`),
			row(t("normal current"), span(w.normal_ma, "mA")), row(t("no current: below"), `${short(w.no_current_ma)} mA`),
			row(t("a short draws more than"), `${short(w.limit_ma)} mA`)),
		el("p.small", t("Voltage by: {source}. Current by: {other}.", { source: voltage_from, other: current_from })),
		nominal_v === null ? el("p.small", t("The voltage that the receiver should feed is not in the job sheet: with it the windows are narrower.")) : null,
		series_ohm === null ? null : el("p.small", t("The voltage is judged behind {ohm} Ω in series.", { ohm: short(series_ohm) }))];
	}

	function short(number) {
		return said(Number(number.toPrecision(3)));
	}

	/** Which conductors there are, as the sheet says now; what the laptop refused is no reading. */
	function lay() {
		if (typed.length) for (const { key } of app.queue.refused()) withdrawn(`p-${key}`);
		const dual = app.sheet("receiver.antenna_lead") === "dual";
		for (const [path, { box }] of Object.entries(leads)) if (box.hidden !== (dual !== (path !== ""))) box.hidden = !box.hidden;
	}

	function update(now) {
		told = now;
		const known = new Set(now.known);
		for (let n = typed.length - 1; n >= 0; n -= 1) if (known.has(typed[n].id)) typed.splice(n, 1);
		for (const [path, { windows }] of Object.entries(leads)) {
			refill(windows, now.leads[path], () => windowsOf(now.leads[path]));
			show(path);
		}
	}

	/** Nothing is known: there is no analysis, or another job is served. */
	function clear() {
		told = null;
		for (const { read, word, why: doubt, windows } of Object.values(leads)) {
			for (const place of [read, word, doubt]) put(place, "");
			word.dataset.state = "";
			refill(windows, null, () => []);
		}
	}

	/** An entry was taken back. */
	function withdrawn(id) {
		const at = typed.findIndex((one) => one.id === id);
		if (at < 0) return;
		const [{ path }] = typed.splice(at, 1);
		show(path);
	}

	return { update, clear, lay, withdrawn };
}
