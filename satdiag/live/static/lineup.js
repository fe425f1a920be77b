// The line-up: what of it is in the package, another list in its place, and lists that are kept for other jobs.

import { by, el, fill, put } from "./dom.js";
import { refill } from "./touched.js";
import { t, tn } from "./words.js";

const MOST_WORDS = 8; // of the packages that a list names; another one is typed
const nameOf = (category) => category || t("Without a category");
const asWord = (text) => text.trim().toLowerCase().replace(/\s+/g, "-");

/** The card 'Channel list'. `attempt(path, body, said, blame)` asks the laptop, or says why not and gives null. */
export function lineupCard(app, attempt) {
	const said = by("list-said");
	const held = new Held(); // what was ticked for the line-up in the job and is not saved yet
	let shown = "";
	let reads = 0; // of two lists that are read at once the one that was asked for last is shown
	by("paste").addEventListener("submit", (event) => (event.preventDefault(), read("/lineup/read", { text: by("list").value })));
	by("kept-lists").addEventListener("click", askKept);
	by("keep").addEventListener("submit", (event) => (event.preventDefault(), keep(by("keep-name").value.trim().replace(/\s+/g, "-"), false)));
	by("keep-name").addEventListener("input", () => (fill(by("keep-ask")), put(by("keep-said"), "")));

	async function read(path, body) {
		fill(by("list-read"));
		const turn = ++reads;
		const place = el("p"); // why an older one could not be read is nothing to say any more
		const answer = await attempt(path, body, place);
		if (turn !== reads) return;
		if (answer) offer(answer);
		else put(said, place.textContent);
	}

	async function askKept() {
		const answer = await attempt("/lineups", undefined, said);
		if (!answer) return;
		put(said, answer.names.length ? "" : t("No list is kept on the laptop yet."));
		fill(by("kept-names"), ...answer.names.map((name) =>
			el("button.choice-key", name, { click: () => read("/lineups/read", { name }) })));
	}

	/** A list that was read: it is shown, and saved only then. */
	function offer({ channels, left_out = [], how = "", lineup }) {
		put(said, how);
		const items = (lines) => el("ul.plainlist.scroll", { tabindex: 0 }, lines.map((parts) => el("li", parts)));
		const there = app.state?.lineup?.channels;
		fill(by("list-read"),
			channels.length ? items(channels.map(({ number, name, category }) =>
				[`${number}  `, el("bdi", name), category && ["  (", el("bdi", category), ")"]])) : null,
			left_out.length ? el("h3", t("Left out")) : null,
			left_out.length ? items(left_out.map(({ line, text, why }) => [t("Line {line}:", { line }), " ", el("bdi", text), ` – ${why}`])) : null,
			channels.length && there ? el("p", tn("It takes the place of the one channel in the job.",
				"It takes the place of the {n} channels in the job.", there)) : null,
			channels.length ? marksForm(app, lineup, new Held(), tn("Save one channel", "Save {n} channels", channels.length), save) : null);
		by("list-read").scrollIntoView({ block: "nearest" });

		async function save(marks, told, blame) {
			const answer = app.mayEnter() && (await attempt("/lineup", { channels, ...marks }, told, blame));
			if (!answer) return;
			fill(by("list-read"));
			fill(by("kept-names"));
			by("list").value = "";
			by("lineup-other").open = false;
			put(said, "");
			app.say(tn("one channel saved.", "{n} channels saved.", answer.count), true);
			app.feed.refresh();
		}
	}

	async function mark(marks, told, blame) {
		if (!marks.package) return blame({ key: "service.package", what: t("The package has no name yet: say what it is called.") });
		const answer = app.mayEnter() && (await attempt("/lineup/marks", marks, told, blame));
		if (!answer) return;
		held.clear();
		by("lineup-marks").open = false;
		app.say(t("The package is saved."), true);
		shown = "";
		app.feed.refresh();
	}

	/** Keep it under a name. 'Replace it' is of that name, whatever is typed meanwhile. */
	async function keep(name, replace) {
		fill(by("keep-ask"));
		const answer = app.mayEnter() && (await attempt("/lineups/keep", { name, replace }, by("keep-said"), ({ key }) => {
			if (key === "replace") fill(by("keep-ask"), el("button.wide", t("Replace it"), { click: () => keep(name, true) }));
		}));
		if (!answer) return;
		const as = { name: answer.name };
		put(by("keep-said"), answer.kept === "new" ? t("Kept as {name}.", as) : answer.kept === "replaced"
			? t("Replaced: kept now as {name}.", as) : t("Kept already, just the same, as {name}.", as));
	}

	function update() {
		const { lineup = null, role } = app.state ?? {};
		const ordered = app.sheet("service.package") ?? "";
		const now = JSON.stringify([lineup, ordered, role]);
		if (now === shown) return;
		shown = now;
		const [watches, sums] = [role === "watch", lineup ? sumsOf(lineup, ordered) : []];
		put(by("lineup-words"), !lineup ? t("There is no channel list in the job yet.")
			: [tn("one channel in the job.", "{n} channels in the job.", lineup.channels),
				ordered ? "" : t("The sheet names no package: all of them count as ordered.")].filter(Boolean).join(" "));
		fill(by("lineup-sums"), ...sums.map(([words, number]) => el("li", el("span", words), el("strong", String(number)))));
		by("lineup-marks").hidden = !lineup || watches;
		by("lineup-keep").hidden = !lineup || watches;
		for (const id of ["lineup-other", "list-said", "list-read"]) by(id).hidden = watches;
		put(by("lineup-other").firstElementChild, lineup ? t("Take another list instead") : t("Take a channel list"));
		if (!lineup) by("lineup-other").open = true;
		else if (by("lineup-other").dataset.lineup !== "there") by("lineup-other").open = false;
		by("lineup-other").dataset.lineup = lineup ? "there" : "none";
		refill(by("lineup-form"), lineup && !watches ? marksForm(app, lineup, held, t("Save what is in the package"), mark) : null);
	}

	return { update };
}

/** What a person ticked and typed: `ticks`, category -> ticked; `word`, null where nothing was typed. */
class Held {
	ticks = new Map();
	word = null;

	clear() {
		this.ticks.clear();
		this.word = null;
	}
}

/** How much of a category is in a package: all 'in' or 'out' of it, 'open', 'mixed', or 'unknown'. */
function standing({ channels, open, blank, packages }, ordered) {
	const due = channels - open; // a channel that is open plays for anyone
	const inside = (ordered && packages.find(([word]) => word === ordered)?.[1]) || 0;
	const outside = ordered ? due - blank - inside : 0;
	const unknown = due - inside - outside;
	const is = !due ? "open" : outside === due ? "out" : inside === due ? "in" : unknown === due ? "unknown" : "mixed";
	return { is, due, inside, outside, unknown };
}

/** The line-up in numbers, as pairs of words and a number. */
function sumsOf(lineup, ordered) {
	const all = lineup.categories.map((one) => ({ ...standing(one, ordered), name: one.category === null ? t("other categories") : el("bdi", nameOf(one.category)), open: one.open }));
	const sum = (key) => all.reduce((total, one) => total + one[key], 0);
	const made = ordered ? [[[t("In the package:"), " ", el("bdi", ordered)], sum("inside")]] : [];
	for (const one of all.filter(({ is }) => is === "out")) made.push([[t("Outside it:"), " ", one.name], one.due]);
	for (const one of all.filter(({ is, outside }) => is === "mixed" && outside)) {
		made.push([[t("Partly outside it:"), " ", one.name], t("{part} of {all}", { part: one.outside, all: one.due })]);
	}
	if (ordered && sum("unknown")) made.push([t("Not known whether in it"), sum("unknown")]);
	if (sum("open")) made.push([t("Play without an account"), sum("open")]);
	return made;
}

/** Ticks for the categories that are outside the package, its name, and a button that saves them.
 * `save(marks, said, blame)`: marks as the laptop takes them, a place for words, and what to call with a problem. */
function marksForm(app, lineup, held, go, save) {
	const ordered = app.sheet("service.package") ?? "";
	const input = el("input", { name: "package", maxlength: 100, autocomplete: "off", autocapitalize: "none", spellcheck: "false" });
	const said = el("p.wrong", { role: "status" });
	const named = lineup.categories.some((one) => one.category);
	const rows = named ? lineup.categories.filter((one) => one.category !== null).map((one) => ({ one, box: el("input", { type: "checkbox", name: `tick ${one.category}` }), words: el("span.small") })) : [];
	const word = () => asWord(input.value) || ordered;
	const known = [...new Set(lineup.categories.flatMap(({ packages }) => packages.map(([one]) => one)))].filter((one) => one !== "other");
	const choices = el("div.choices", known.slice(0, MOST_WORDS).map((one) =>
		el("button.choice-key", one, { click: () => ([input.value, held.word] = [one, one], paint()) })));
	const names = el("div.asked", el("span.small", t("The list names these packages:")), choices);
	input.value = held.word ?? ordered;

	function paint() {
		names.hidden = !known.length || known.includes(word());
		for (const { one, box, words } of rows) {
			const { is, due, outside, unknown } = standing(one, word());
			box.checked = held.ticks.get(one.category) ?? is === "out";
			box.indeterminate = is === "mixed" && !held.ticks.has(one.category);
			put(words, [tn("one channel", "{n} channels", one.channels),
				is === "mixed" && outside ? t("{n} of them outside", { n: outside }) : "",
				is === "mixed" && unknown ? t("{n} of them not known", { n: unknown }) : "",
				!due ? t("playing without an account") : one.open ? t("{n} of them playing without an account", { n: one.open }) : ""]
				.filter(Boolean).join(", "));
		}
	}

	function blame({ key, what }) {
		if (!String(key).endsWith("package")) return;
		input.ariaInvalid = "true";
		if (!said.textContent) put(said, what);
		input.focus();
	}

	function send(event) {
		event.preventDefault();
		put(said, "");
		input.ariaInvalid = "false";
		const due = rows.filter(({ one }) => one.channels > one.open);
		const names = (some) => some.map(({ one }) => one.category);
		const outside = names(due.filter(({ box }) => box.checked));
		const inside = named ? names(due.filter(({ box }) => !box.checked && !box.indeterminate)) : [""];
		save({ outside, inside: word() ? inside : [], package: word() }, said, blame);
	}

	for (const { one, box } of rows) {
		box.addEventListener("change", () => (held.ticks.set(one.category, box.checked), paint()));
	}
	input.addEventListener("input", () => (held.word = input.value, paint()));
	input.addEventListener("change", () => (input.value = asWord(input.value)));
	paint();
	return el("form", { novalidate: true, submit: send },
		named ? el("fieldset.ticks", el("legend", t("Tick what is not in the package")), rows.map(({ one, box, words }) =>
			el(one.channels > one.open ? "label.tick" : "div.tick", one.channels > one.open ? box : el("span"), el("bdi", nameOf(one.category)), " ",
				words))) : null,
		el("label.named", t("What the package is called"), input), names,
		el("p.small", named ? t("One word for what was ordered, for example: full. What is not ticked is in it.")
			: t("One word for what was ordered, for example: full. All channels are in it.")),
		el("button.go", go, { type: "submit" }), said);
}
