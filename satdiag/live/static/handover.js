// The view 'Hand over': papers are made on the laptop, opened in a tab of their own, or saved on this device.

import { by, el, fill, put, spell } from "./dom.js";
import { Answered, ask } from "./net.js";
import { Told } from "./told.js";
import { refill } from "./unchanged.js";
import { figure, language, t, tn } from "./words.js";

const LOOK_MS = 5000; // another page may have made something
const MAKING_MS = 800;
const MAKE = { html: t("Make the page"), pdf: t("Make a PDF"), zip: t("Make the bundle") };
const NAMES = { html: t("Page"), pdf: t("PDF"), zip: t("ZIP file") };
const LANGUAGES = { en: "English", es: "Español", fr: "Français" };

/** The view. */
export function handoverView(app) {
	const [cards, said] = [new Map(), el("p.small", { role: "status" })];
	const tongue = el("select", { id: "paper-language" }, Object.entries(LANGUAGES).map(([code, name]) =>
		el("option", name, { value: code, lang: code, selected: code === language })));
	const name = el("input", { id: "paper-by", maxlength: "100", autocomplete: "off", "aria-describedby": "paper-by-hint" });
	const papers = el("div.papers");
	const told = new Told(app, "handover", draw);
	let state = { making: null, made: [], failed: [] };
	let [typed, asking, looked_ms, timer] = [false, false, -Infinity, 0];
	let wishes = 0; // counts what was begun and ended here: an answer that was asked for before that is old
	name.addEventListener("input", () => (typed = true));
	const choices = el("section.card", { "aria-label": t("How the papers are made") },
		el("p", t("The laptop makes them from what is saved by then. It keeps the last one of each kind until satdiag live ends.")),
		el("p.small", t("What is saved on this device stays on it until it is deleted there.")),
		el("div.field", el("label", { for: "paper-language" }, t("Language of the papers")), tongue),
		el("div.field", el("label", { for: "paper-by" }, t("Who did the work")), name,
			el("p.small", { id: "paper-by-hint" }, t("Stands in letters, record and bundle. If it is empty, the record names the technician of the sheet."))), said);
	const watching = el("p.card", t("This device may only watch. Papers hold more than it may see: who may write makes and opens them."), { hidden: true });
	const waiting = el("p.card", t("The papers stand here after the first analysis."));
	fill(by("view-handover"), watching, choices, waiting, papers);

	function draw({ papers: some }) {
		waiting.hidden = Boolean(some);
		if (!some) {
			cards.clear();
			fill(papers);
			[state, looked_ms] = [{ making: null, made: [], failed: [] }, -Infinity];
			wishes += 1;
		}
		for (const paper of some ?? []) {
			const shape = JSON.stringify([paper.title, paper.forms, paper.full_id]);
			const before = cards.get(paper.what);
			if (before?.shape !== shape) {
				const made = { ...cardOf(paper), shape };
				cards.set(paper.what, made);
				if (before) before.card.replaceWith(made.card);
				else papers.append(made.card);
			}
			cards.get(paper.what).tell(paper);
		}
		show();
	}

	function cardOf({ what, title, forms, full_id }) {
		const id = `paper-${what}`;
		const [purpose, inside, notes, note] = [el("p"), el("p.small"), el("ul.small"), el("p", { role: "status" })];
		const [count, made, tick] = [el("span.small", { "aria-hidden": "true" }), el("ul.made"), full_id && el("input", { type: "checkbox" })];
		const keys = forms.map((form) => el("button.make", MAKE[form], { "data-form": form, "aria-describedby": id, click: () => make(what, form, tick?.checked ?? false, note) }));
		const card = el("section.card.paper", { "data-what": what, "aria-labelledby": id }, el("h2", title, { id }), purpose, inside, notes,
			tick && el("label.choice", tick, t("With the receiver's whole identifier")), el("div.makes", keys), el("div.pair", note, count), made);
		const tell = (paper) => {
			put(purpose, paper.purpose);
			put(inside, paper.inside);
			if (notes.textContent !== paper.notes.join("")) fill(notes, ...paper.notes.map((text) => el("li", text)));
		};
		return { card, keys, note, count, made, tell, shown: false };
	}

	async function make(what, form, full_id, note) {
		if (state.making) return put(said, t("Another paper is being made. Try again when it is done.")), app.say(said.textContent, true);
		if (!app.mayEnter()) return undefined;
		try {
			put(said, "");
			wishes += 1;
			take(await ask("/make", { what, form, language: tongue.value, by: name.value.trim(), full_id }, 15_000));
		} catch (error) {
			const why = error instanceof Answered ? (error.body?.error ?? error.message) : t("No connection to the laptop.");
			put(note, t("Not made: {why}", { why }));
		} finally {
			wishes += 1;
		}
		return undefined;
	}

	/** Ask what is there. */
	async function look() {
		if (asking || document.body.dataset.view !== "handover" || app.state?.role !== "write") return;
		[asking, looked_ms] = [true, performance.now()];
		const before = wishes;
		try {
			const answer = await ask("/made");
			if (before === wishes) take(answer);
			else lookSoon();
		} catch (error) {
			if (!(error instanceof Answered || error instanceof TypeError || error.name === "AbortError")) throw error;
			// No answer now: it is asked again with the next state.
		} finally {
			asking = false;
		}
	}

	function take(answer) {
		state = answer;
		clearTimeout(timer);
		if (state.making) lookSoon();
		show();
	}

	function lookSoon() {
		clearTimeout(timer);
		timer = setTimeout(look, MAKING_MS);
	}

	function show() {
		const { making, made, failed } = state;
		for (const [what, card] of cards) {
			for (const key of card.keys) key.ariaDisabled = making ? "true" : null;
			const [is, not] = [making?.what === what, failed.filter((one) => one.what === what)];
			const mine = made.filter((one) => one.what === what);
			if (is || not.length || mine.length) put(card.note, is ? t("It is being made.") : not.length ? t("Not made: {why}", { why: not.at(-1).why }) : t("It is made."));
			else if (card.shown) put(card.note, "");
			card.card.dataset.state = is ? "making" : not.length ? "failed" : mine.length ? "made" : "";
			put(card.count, is ? spell(making.for_s) : "");
			refill(card.made, mine, () => mine.map(madeOf)); // what is there is not exchanged under the finger
			card.shown = true;
			for (const line of card.made.querySelectorAll(".stale")) stale(line);
		}
	}

	function stale(line) {
		const more = Math.max(0, (app.state?.rows ?? 0) - Number(line.dataset.rows));
		line.hidden = !more;
		put(line, tn("The log has one more row since.", "The log has {n} more rows since.", more));
	}

	function update() {
		const watches = app.state?.role !== "write";
		[watching.hidden, choices.hidden, papers.hidden] = [!watches, watches, watches];
		waiting.hidden = watches || cards.size > 0;
		if (watches) return;
		const known = app.sheet("job.technician") ?? "";
		if (!typed && document.activeElement !== name && name.value !== known) name.value = known;
		told.look();
		if (performance.now() - looked_ms > LOOK_MS) look();
		show();
	}

	return { id: "handover", update, shown: () => app.state && (look(), update()) };
}

/** A paper that is there: what it is, and how to get at it. */
function madeOf({ id, name, form, language: tongue, full_id, rows, at_ms, bytes }) {
	const time = new Date(at_ms).toLocaleTimeString(language, { timeStyle: "short", hour12: false });
	const size = bytes < 1e6 ? t("{n} kB", { n: Math.ceil(bytes / 1000) }) : t("{n} MB", { n: figure(bytes / 1e6, 1) });
	const [what, path] = [`${NAMES[form]}, ${LANGUAGES[tongue]}`, `/made/${id}/${encodeURIComponent(name)}`];
	return el("li", el("p", t("{what}, made at {time}, {size}", { what, time, size }), full_id && el("strong", ` ${t("With the whole identifier.")}`)),
		el("p.stale", { "data-rows": String(rows), hidden: true }),
		el("div.pair", form !== "zip" && el("a.key.go", { href: path, target: "_blank", rel: "noopener noreferrer", "aria-label": `${t("Open")}: ${what}` }, t("Open")),
			el("a.key", { href: `${path}?save=1`, download: name, "aria-label": `${t("Save")}: ${what}` }, t("Save"))));
}
