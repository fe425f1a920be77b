// The view 'Sky': where the satellites stand over the vehicle, what hides them, how to park, and which way the nose points.

import { ago, by, el, fill, kept, put } from "./dom.js";
import { skylineCard } from "./skyline.js";
import { blocked, markShape, pointShape, shape, Skyplot } from "./skyplot.js";
import { Told } from "./told.js";
import { turningCard, whole } from "./turning.js";
import { refill } from "./unchanged.js";
import { figure, t } from "./words.js";

const KINDS = { clear: t("probably clear"), doubtful: t("doubtful"), hidden: t("probably hidden"), unknown: t("not known") };
const CLASSES = { strong: t("strong, 40 dB-Hz or more"), fair: t("fair, 30 to 40 dB-Hz"), weak: t("weak, below 30 dB-Hz"), unheard: t("listed, not heard") };
const TRAIL = { strong: t("as strong as in the open"), weakened: t("weakened by 6 dB or more"), unheard: t("not heard") };
const SIDES = [t("ahead"), t("ahead on the right"), t("on the right"), t("behind on the right"), t("behind"), t("behind on the left"),
	t("on the left"), t("ahead on the left")];
const NORTH_UP = "satdiag.sky.north";

/** On which side of the vehicle a direction lies, in words. */
export const sideOf = (azimuth_deg, heading_deg) => SIDES[Math.round(whole(azimuth_deg - heading_deg) / 45) % 8];

/** The view. */
export function skyView(app) {
	const plot = new Skyplot();
	const turning = turningCard(app, turn);
	const skyline = skylineCard(app);
	const parts = { age: el("p.small"), cautions: el("div"), head: el("p.sentence"), lack: el("p.advice"), sites: el("div.choices", { role: "group",
		"aria-label": t("Site") }), legend: el("ul.sky-legend"), said: el("ul.plainlist"), advice: el("ul.plainlist"), hours: el("ul.plainlist"),
	measuring: el("ul.plainlist"), rows: el("tbody"), heard: el("tbody"), cannot: el("ul.plainlist"), times: el("p.small") };
	const start = el("button.go.tall", t("Go to Start"), { click: () => by("bar").querySelector("[data-view=start]").click() });
	const up = choice(t("Up in the picture"), { nose: t("Nose up"), north: t("North up") }, (name) => (kept(NORTH_UP, name === "north"), turn()));
	const which = choice(t("Navigation satellites"), { last: t("as last heard"), stay: t("over the whole stay") }, () => show());
	const cards = layout(parts, plot, turning, skyline, start, up, which);
	let [sky, shown] = [null, 0]; // what the laptop told last, and which of its sites is shown
	let [drawn, picked] = ["", null]; // what is in the page, and the site that was chosen by hand
	const told = new Told(app, "sky", draw);
	by("view-sky").append(...cards.all);
	draw({ number: 0 });

	function draw(answer) {
		if (answer.number) skyline.show(answer.skyline ?? [], answer.number);
		const sign = JSON.stringify({ ...answer, number: Boolean(answer.number) });
		if (sign === drawn) return age();
		drawn = sign;
		sky = answer.number ? answer : null;
		for (const card of cards.known) card.hidden = !sky;
		put(parts.head, sky ? sky.head : t("The log has not been analysed yet."));
		put(parts.lack, sky?.lack ?? "");
		[parts.lack.hidden, start.hidden] = [!sky?.missing, !sky?.missing];
		if (!sky) return undefined;
		fill(parts.cautions, ...sky.cautions.map((text) => el("p.bad", text)));
		list(parts.cannot, sky.could_not);
		put(parts.times, sky.times);
		const again = sky.sites.findIndex((site) => site.name === picked); // what a person looks at is not exchanged
		shown = again >= 0 ? again : Math.min(sky.here ?? 0, sky.sites.length - 1);
		const names = sky.sites.map((site) => site.name);
		refill(parts.sites, [names, sky.here], () => names.map((name, n) => el("button.site-key", n === sky.here ? t("{site} (here)", { site: name }) : name,
			{ click: () => ([shown, picked] = [n, name], show()) })));
		parts.sites.hidden = sky.sites.length < 2;
		for (const card of cards.placed) card.hidden = !sky.sites.length;
		show();
		turning.logged(sky.heading_deg);
		return age();
	}

	/** The site that is chosen. */
	function show() {
		const site = sky?.sites[shown];
		if (!site) return;
		[...parts.sites.children].forEach((key, n) => (key.ariaPressed = String(n === shown)));
		which.root.hidden = !(site.heard && site.trail.length);
		const trail = site.trail.length > 0 && (!site.heard || which.chosen === "stay");
		plot.draw(site, sky.least_deg, trail);
		fill(parts.legend, ...legend(site, sky.least_deg, trail));
		list(parts.said, site.said);
		list(parts.advice, [...site.advice, sky.turning]);
		list(parts.hours, [...site.hours, ...site.passes]);
		list(parts.measuring, site.measuring);
		cards.heard.hidden = !site.heard;
		fill(parts.rows, ...site.satellites.map(satelliteRow));
		fill(parts.heard, ...(site.heard?.satellites ?? []).map(heardRow));
		turn();
	}

	function turn() {
		const heading = turning.heading;
		const north = kept(NORTH_UP) === true || heading === null;
		up.press(north ? "north" : "nose");
		up.disable("nose", heading === null);
		plot.turn(north ? 0 : heading, heading);
		(sky?.sites[shown]?.satellites ?? []).forEach((one, n) => put(parts.rows.children[n].querySelector(".side"), sideWords(one, heading)));
	}

	function age() {
		if (sky) put(parts.age, t("Analysed {time}.", { time: ago(app.state?.analysis_age_s) }));
	}

	return {
		id: "sky",
		update() {
			if (document.body.dataset.view !== "sky") turning.rest();
			else age();
			turning.may(app.state?.role !== "watch");
			skyline.may(app.state?.role !== "watch");
			told.look();
		},
		shown: () => told.look(),
	};
}

function list(place, texts) {
	fill(place, ...texts.map((text) => el("li", text)));
	place.parentElement.hidden = !texts.length && "spare" in place.dataset;
}

/** Two keys of which one is pressed. `root`, `chosen`, `press(name)`, `disable(name, off)`. */
function choice(label, names, changed) {
	const made = { chosen: Object.keys(names)[0] };
	const keys = Object.entries(names).map(([name, text]) => el("button", text, { "data-name": name, click: () => {
		made.press(name);
		changed(name);
	} }));
	made.root = el("div.sky-choice", { role: "group", "aria-label": label }, keys);
	made.press = (name) => {
		made.chosen = name;
		for (const key of keys) key.ariaPressed = String(key.dataset.name === name);
	};
	made.disable = (name, off) => (keys.find((key) => key.dataset.name === name).disabled = off);
	made.press(made.chosen);
	return made;
}

function layout(parts, plot, turning, skyline, start, up, which) {
	parts.cannot.dataset.spare = parts.measuring.dataset.spare = "";
	const head = el("section.hero", parts.head, parts.lack, start);
	const picture = el("section.card", el("h2", t("The sky over the vehicle")), parts.sites, up.root, which.root, plot.root, parts.legend, parts.said);
	const rows = el("section.card.broad", el("h2", t("The satellites")), table(parts.rows, [t("satellite"), t("azimuth"), t("elevation"),
		t("from the driver's seat"), t("chance of being clear"), t("known from")]));
	const heard = el("section.card.broad", el("details", el("summary", t("Navigation satellites as last heard")), table(parts.heard, [t("satellite"), t("azimuth"),
		t("elevation"), t("strength")])));
	const park = el("section.card.broad", el("h2", t("Where to look and how to park")), parts.advice);
	const hours = el("section.card", el("h2", t("When")), parts.hours, parts.times);
	const measuring = el("section.card", el("h2", t("Measuring the skyline")), parts.measuring);
	const cannot = el("section.card.broad", el("h2", t("What is not known")), parts.cannot);
	return { all: [parts.cautions, head, picture, turning.card, park, rows, hours, measuring, skyline.root, heard, cannot, parts.age],
		known: [picture, turning.card, park, rows, hours, measuring, skyline.root, heard, cannot, parts.age], placed: [picture, park, rows, hours, measuring, skyline.root, heard], heard };
}

/** A table that is one below the other on a narrow screen; the roles stay what they are there. */
function table(body, heads) {
	body.setAttribute("role", "rowgroup");
	return el("table.sky-table", { role: "table" }, el("thead", { role: "rowgroup" }, el("tr", { role: "row" },
		heads.map((head) => el("th", { role: "columnheader", scope: "col" }, head)))), body);
}

function row(heads, [first, ...cells]) {
	return el("tr", { role: "row" }, el("th", { role: "rowheader", scope: "row" }, first),
		cells.map((cell, n) => el("td", { role: "cell", "data-head": heads[n] }, cell)));
}

function sideWords(one, heading) {
	return heading === null || one.azimuth_deg === null ? t("heading not chosen") : sideOf(one.azimuth_deg, heading);
}

function satelliteRow(one) {
	const from = one.nearest ? t("{source}; nearest look {nearest}; time to stay parked: {stay}", { source: one.from, nearest: one.nearest, stay: one.stay }) : one.from;
	return row([t("azimuth"), t("elevation"), t("from the driver's seat"), t("chance of being clear"), t("known from")],
		[one.name, [one.azimuth, one.side].filter(Boolean).join(", "), one.elevation, el("span.side"), one.chance, from]);
}

function heardRow(one) {
	const strength = one.cn0_db_hz === null ? CLASSES.unheard : t("{level} dB-Hz, {strength}", { level: figure(one.cn0_db_hz),
		strength: { strong: t("strong"), fair: t("fair"), weak: t("weak") }[one.kind] });
	return row([t("azimuth"), t("elevation"), t("strength")], [one.name, `${figure(one.azimuth_deg)}°`, `${figure(one.elevation_deg)}°`, strength]);
}

/** What the marks and areas that are in the picture mean, each beside its sign. */
function legend(site, least_deg, trail) {
	const entry = (words, ...signs) => el("li", shape("svg", { viewBox: "-10 -10 20 20", "aria-hidden": "true" }, ...signs), el("span", words));
	const area = (looks) => shape("rect", { x: -9, y: -9, width: 18, height: 18, ...looks });
	const of = (kinds, table_, make) => Object.keys(table_).filter((kind) => kinds.includes(kind)).map((kind) => entry(table_[kind], make(kind)));
	const entries = of(site.satellites.filter((one) => one.elevation_deg >= 0).map((one) => one.kind), KINDS, markShape);
	const known = (site.mask?.measured ?? []);
	if (known.includes(true)) entries.push(entry(t("behind the skyline, measured"), area(blocked(true))), entry(t("open sky, measured"), area({ class: "sky-free measured" })));
	if (known.includes(false)) entries.push(entry(t("behind the skyline, only inferred"), area(blocked(false))), entry(t("open sky, only inferred"), area({ class: "sky-free inferred" })));
	if (known.length) entries.push(entry(t("range of the skyline (90 %)"), shape("path", { d: "M-9 0H9", class: "sky-band" })));
	if (least_deg > 0) entries.push(entry(t("below: service not offered"), shape("path", { d: "M-9 0H9", class: "sky-least" })));
	if (site.ways.length) entries.push(entry(t("way over the day, a dot each hour"), shape("path", { d: "M-9 0H9", class: "sky-way" }), shape("circle", { r: 1.6, class: "sky-hour-dot" })));
	const scaled = (kind) => shape("g", { transform: "scale(2)" }, pointShape({ strong: "fair", weakened: "weak", unheard: "unheard" }[kind]));
	if (trail) return [...entries, ...of(site.trail.map((one) => one.kind), TRAIL, scaled)];
	return [...entries, ...of((site.heard?.satellites ?? []).map((one) => one.kind), CLASSES, (kind) => shape("g", { transform: "scale(1.6)" }, pointShape(kind)))];
}
