// The channels: what was seen of each, and four marks to say what is seen now.

import { by, el, fill, MARKS, markOf, put, putShape, shape, spell } from "./dom.js";
import { Part, STALE } from "./part.js";
import { press } from "./press.js";
import { arrange, handOn, moved } from "./touched.js";
import { t, tn } from "./words.js";

const FILTERS = [
	[t("all channels"), () => true],
	[t("not checked yet"), (one, seen) => !seen],
	[t("have changed"), (one) => one.before && one.before !== one.state],
	[t("expected"), (one) => one.expected === true],
	...MARKS.map(({ value, word }) => [word, (one, seen) => seen === value]),
];
/** A chance in whole per cent; never 0 or 100, whatever rounding would make of it. */
function chanceOf(chance) {
	const share = Math.round(100 * chance);
	if (share < 1) return t("chance under 1 %");
	return share > 99 ? t("chance over 99 %") : t("chance {share} %", { share });
}

const categoryOf = (one) => one.category || t("Without a category");

/** The view 'Channels'. */
export function channelsView(app) {
	const rows = new Map(); // number -> the parts of its row, which stay while it is listed
	const groups = new Map(); // category -> {section, sums, list, all, members}
	const marked = new Map(); // number -> state that was entered here and is on its way
	const chooser = document.querySelector(".chooser");
	const panel = el("div.four", { role: "group" });
	const none = el("p.card", t("There is no line-up yet. Paste one under Start, or change to a channel under Change timing."));
	let chosen = ""; // the mark that a tap sets; "" asks
	let opened = null;
	let shown = "";

	const part = new Part(app, update);
	const channels = () => (part.on ? part.channels : app.state?.channels ?? []);
	const seenOf = (one) => marked.get(one.number) ?? one.state;
	chooser.append(...MARKS.map(({ value, word }) =>
		el("button", { "aria-pressed": "false", "data-value": value }, shape(value), el("span", word))));
	for (const key of chooser.children) key.addEventListener("click", () => choose(key.dataset.value));
	by("filter").append(...FILTERS.map(([text], value) => el("option", text, { value })));
	by("filter").addEventListener("change", sift);
	by("search").addEventListener("input", sift);
	for (const id of ["filter", "search", "category"]) by(id).addEventListener("input", () => part.begin());
	by("range").addEventListener("click", askRange);
	by("minutes").addEventListener("input", () => (by("past-minutes").checked = true));

	function choose(value) {
		chosen = value;
		for (const key of chooser.children) key.ariaPressed = String(key.dataset.value === value);
		close();
	}

	function close() {
		if (opened) opened.button.ariaExpanded = "false";
		opened = null;
		panel.remove();
	}

	const mark = (number, value, stamp) => app.enter({ kind: "channel", subject: String(number), value }, stamp);

	function tapped(number, stamp) {
		if (chosen) return mark(number, chosen, stamp);
		const row = rows.get(number);
		const again = opened === row;
		close();
		if (again) return;
		opened = row;
		row.button.ariaExpanded = "true";
		panel.ariaLabel = t("What channel {number} does", { number });
		fill(panel, ...targets((value, at) => {
			mark(number, value, at);
			close();
			row.button.focus({ preventScroll: true });
		}));
		row.item.append(panel);
		panel.scrollIntoView({ block: "nearest" });
	}

	function targets(handler) {
		return MARKS.map(({ value, word }) =>
			press(el("button.mark", shape(value), el("span", word)), app.clock, (stamp) => handler(value, stamp)));
	}

	function build() {
		const members = new Map(); // category -> numbers
		for (const one of part.on ? channels() : [...channels()].sort((a, b) => a.number - b.number)) {
			const category = categoryOf(one);
			if (!members.has(category)) members.set(category, []);
			members.get(category).push(one.number);
		}
		const there = new Set(channels().map((one) => one.number));
		for (const number of rows.keys()) if (!there.has(number)) rows.delete(number);
		for (const category of groups.keys()) if (!members.has(category)) groups.delete(category);
		for (const [category, numbers] of members) {
			if (!groups.has(category)) groups.set(category, makeGroup(category));
			const group = groups.get(category);
			group.members = numbers;
			group.all.hidden = part.on && !part.mayMark(category);
			const items = numbers.map((number) => (rows.get(number) ?? makeRow(number)).item);
			if (part.on) for (const shows of [group.section, ...items]) shows.hidden = false; // the laptop sifts
			arrange(group.list, items);
		}
		arrange(by("groups"), there.size || part.on ? [...members.keys()].map((category) => groups.get(category).section) : [none]);
		if (opened && !opened.item.isConnected) close();
	}

	function makeGroup(category) {
		const [sums, list] = [el("span.small"), el("ul.rows")];
		const all = el("button.plain", t("Mark all"), { "aria-label": t("Mark all of {category}", { category }),
			click: () => askAll(category, groups.get(category).members) });
		return { sums, list, all, members: [], section: el("section", el("div.head", el("h2", category), sums, all), list) };
	}

	function makeRow(number) {
		const row = { shape: el("span"), word: el("span"), name: el("strong"), news: el("span.news"), more: el("span.more") };
		row.button = el("button.channel", { "aria-expanded": "false" }, el("span.front", row.shape, row.word),
			el("span.body", row.name, row.news, row.more));
		row.item = el("li", press(row.button, app.clock, (stamp) => tapped(number, stamp)));
		rows.set(number, row);
		return row;
	}

	function paint(one) {
		const row = rows.get(one.number);
		const waits = marked.has(one.number);
		const news = !waits && one.before && one.state && one.before !== one.state;
		putShape(row.shape, seenOf(one) ?? "");
		put(row.word, markOf(seenOf(one)).word);
		put(row.name, `${one.number}  ${one.name || t("no name")}`);
		put(row.news, news ? t("changed: was {word}", { word: markOf(one.before).word }) : "");
		row.button.classList.toggle("changed", Boolean(news));
		const checked = typeof one.checked_s_ago === "number" ? t("checked {time} ago", { time: spell(one.checked_s_ago) }) : "";
		put(row.more, [waits ? t("on its way") : checked, one.expected === false ? t("not expected") : "",
			typeof one.chance === "number" && one.chance < 1 && seenOf(one) !== "authorised" ? chanceOf(one.chance) : "",
			typeof one.wait_s !== "number" ? "" : one.wait_s < 1 ? t("look again now") : t("wait about {time}", { time: spell(one.wait_s) })].filter(Boolean).join(" · "));
	}

	/** Hide what is not looked for. True if a row came or went. */
	function sift() {
		if (part.on) return part.count(groups);
		const words = by("search").value.trim().toLowerCase();
		const keep = FILTERS[by("filter").value][1];
		const plays = new Map();
		const found = new Set();
		let went = false;
		for (const one of channels()) {
			const fits = `${one.number} ${one.name} ${one.category}`.toLowerCase().includes(words) && keep(one, seenOf(one));
			const { item } = rows.get(one.number);
			went ||= item.hidden === fits;
			if (!fits && item.contains(document.activeElement)) handOn(by("groups"));
			item.hidden = !fits;
			if (fits) found.add(categoryOf(one));
			if (seenOf(one) === "authorised") plays.set(categoryOf(one), (plays.get(categoryOf(one)) ?? 0) + 1);
		}
		for (const [category, group] of groups) {
			group.section.hidden = !found.has(category);
			put(group.sums, tn("{plays} of one plays", "{plays} of {n} play", group.members.length, { plays: plays.get(category) ?? 0 }));
		}
		const all = [...plays.values()].reduce((sum, some) => sum + some, 0);
		const due = channels().filter((one) => !seenOf(one)).length;
		put(by("tally"), rows.size ? tn("{plays} of one channel plays, {due} not checked yet.",
			"{plays} of {n} channels play, {due} not checked yet.", rows.size, { plays: all, due }) : "");
		return went;
	}

	function askAll(category, members) {
		const title = t("All of {category}", { category });
		if (!part.on) return askMany(title, () => members);
		const picked = part.pick(() => ({ category: category === categoryOf({}) ? "" : category }));
		askMany(title, picked.numbers, false, picked.look);
	}

	async function askPart() {
		const ends = () => [by("from"), by("to")].map((input) => Number(input.value));
		const picked = part.pick(() => ({ from: Math.min(...ends()), to: Math.max(...ends()) }));
		[by("from").value, by("to").value] = await part.ends();
		askMany(t("Mark a range"), picked.numbers, true, picked.look);
	}

	function askRange() {
		if (part.on) return askPart();
		const numbers = [...rows.keys()];
		[by("from").value, by("to").value] = [numbers[0] ?? "", numbers.at(-1) ?? ""];
		const fits = (one) => { // also from the greater to the smaller
			const ends = [by("from"), by("to")].map((input) => Number(input.value));
			return one >= Math.min(...ends) && one <= Math.max(...ends);
		};
		askMany(t("Mark a range"), () => numbers.filter(fits), true);
	}

	/** One mark for the channels that `numbers` tells, in the page's own dialog. `look` finds them out first, or says why not. */
	function askMany(title, numbers, range = false, look = null) {
		put(by("many-title"), title);
		by("ends").hidden = !range;
		by("just-now").checked = true;
		const say = async () => {
			const why = look && (await look());
			if (why !== STALE) put(by("many-count"), why || tn("One channel will be marked.", "{n} channels will be marked.", numbers().length));
		};
		by("from").oninput = by("to").oninput = say;
		fill(by("many-marks"), ...targets((value, stamp) => {
			const past = by("past-minutes").checked;
			const span_s = past ? Math.round(by("minutes").value * 60) : undefined;
			if (!numbers().length) return put(by("many-count"), t("No channel of the list lies there: nothing is marked."));
			if (past && !(span_s > 0)) {
				put(by("many-count"), t("Over how many minutes? Nothing is marked yet."));
				return by("minutes").focus();
			}
			app.enterAll(numbers().map((one) => ({ kind: "channel", subject: String(one), value, span_s })), stamp);
			by("many").close();
		}));
		say();
		by("many").showModal();
	}

	/** What is on its way is shown as seen. `only`: numbers to paint anew besides; null: all. */
	function repaint(only) {
		const touched = new Set([...(only ?? []), ...marked.keys()]);
		marked.clear();
		for (const tap of app.queue.waiting()) if (tap.kind === "channel") marked.set(Number(tap.subject), tap.value);
		for (const number of marked.keys()) touched.add(number);
		if ([...touched].some((number) => rows.has(number) && !marked.has(number))) part.renew();
		for (const one of channels()) if (rows.has(one.number) && (!only || touched.has(one.number))) paint(one);
		if (rows.size && sift()) moved(by("groups"));
	}

	function update() {
		part.look();
		const key = JSON.stringify(channels().map((one) => [one.number, one.category]));
		const anew = key !== shown;
		shown = key;
		if (anew) build();
		repaint(anew || part.on ? null : app.feed.changed);
		if (part.on) sift();
		else if (!rows.size) put(by("tally"), "");
	}

	return { id: "channels", update, queued: () => repaint([]), shown: () => part.look() };
}
