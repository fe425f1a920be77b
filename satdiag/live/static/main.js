// The page put together: views, the strip at the top, the words for a screen reader, the one way to enter something.

import { byHandView } from "./byhand.js";
import { channelsView } from "./channels.js";
import { Clock } from "./clock.js";
import { by, dialog, el, fill, kept, put, tongue } from "./dom.js";
import { entriesView } from "./entries.js";
import { Feed } from "./events.js";
import { nowView } from "./now.js";
import { pairByAddress, pairForm } from "./pair.js";
import { wordsOf } from "./press.js";
import { Queue } from "./queue.js";
import { Speed } from "./speed.js";
import { handoverView } from "./handover.js";
import { moreView } from "./more.js";
import { skyView } from "./sky.js";
import { startView } from "./start.js";
import { timingView } from "./timing.js";
import { arrange, guardTaps, moved } from "./touched.js";
import { verdictView } from "./verdict.js";
import { wiringView } from "./wiring.js";
import { t, tn } from "./words.js";

const SAID_EVERY_MS = 5000;
const SNACK_MS = 8000;
const LINKS = {
	stream: [t("● live"), "good", t("The laptop is heard as it happens.")],
	poll: [t("◐ every 2 s"), "busy", t("The laptop is asked every 2 s.")],
	code: [t("◇ not paired"), "busy", t("The laptop is there and wants its code.")],
	none: [t("✕ no laptop"), "bad", t("The laptop is not heard.")],
};
const [clock, feed, speed] = [new Clock(), new Feed(), new Speed()];
const queue = new Queue(clock);
let clock_set = false;
let wanted = "";
let spoken = "";
let spoken_at = -Infinity;
let snack_timer = 0;
let other_code = false; // the form for a code was asked for, though the laptop is heard

const app = {
	clock, queue, feed, speed,
	taken: new Set(), // ids of rows that were taken back here
	get state() {
		return feed.state;
	},

	/** A value of the job sheet by its dotted key. */
	sheet(key) {
		const sheet = feed.state?.sheet ?? {};
		return sheet[key] ?? key.split(".").reduce((part, name) => part?.[name], sheet);
	},

	/** True if something may be entered now; else it is said why not. */
	mayEnter() {
		const why = speed.locked ? t("Entry is locked while the vehicle moves.")
			: feed.state?.role === "watch" ? t("This device may only watch.") : "";
		if (why) app.say(why, true);
		return !why;
	},

	/** Enter one thing: it is kept here at once and then sent. Returns the tap, or null. */
	enter(fields, stamp) {
		return app.enterAll([fields], stamp)?.[0] ?? null;
	},

	/** Enter many things of one moment. Returns the taps, or undefined. */
	enterAll(many, stamp) {
		if (!many.length || !app.mayEnter()) return undefined;
		const taps = many.map((fields) => queue.add(fields, stamp));
		navigator.vibrate?.(20);
		const first = wordsOf(taps[0]);
		snack(taps.length === 1 ? first : t("{n} entries, the first: {words}", { n: taps.length, words: first }), taps.map((tap) => `p-${tap.key}`));
		return taps;
	},

	/** Take an entry back by the id of its row. */
	withdraw(id, stamp) {
		if (!app.mayEnter()) return;
		app.taken.add(id);
		const refused = queue.refused().find((tap) => `p-${tap.key}` === id);
		if (refused) queue.dismiss(refused.key); // it is in no log
		else queue.add({ kind: "withdraw", subject: "row", value: id }, stamp);
		for (const view of views) view.withdrawn?.(id);
		app.say(t("Taken back."), true);
	},

	/** Say something to a screen reader, and on the screen if `shown`. */
	say(words, shown = false) {
		wanted = words;
		if (shown) snack(words, []);
	},
};
const entries = entriesView(app);
const views = [nowView, channelsView, timingView, byHandView, verdictView, skyView, wiringView, handoverView, startView,
	moreView].map((make) => make(app));

function show(id) {
	document.body.dataset.view = id;
	for (const view of views) by(`view-${view.id}`).hidden = view.id !== id;
	const far = by("bar").querySelector(`.far[data-view=${id}]`) !== null;
	for (const key of by("bar").children) {
		key.ariaCurrent = key.dataset.view === id || (far && key.dataset.view === "more") ? "page" : null;
	}
	for (const view of views) if (view.id === id) view.shown?.();
	window.scrollTo(0, 0);
	kept("satdiag.view", id);
}

function snack(words, ids) {
	const undo = () => {
		by("snack").hidden = true;
		const stamp = clock.stamp();
		for (const id of ids) app.withdraw(id, stamp);
	};
	fill(by("snack"), el("span", words), ids.length ? el("button.plain", t("Undo"), { click: undo }) : null);
	by("snack").hidden = false;
	clearTimeout(snack_timer);
	snack_timer = setTimeout(() => (by("snack").hidden = true), SNACK_MS);
}

/** The strip at the top: is the laptop heard, is everything saved, and what else one must know. */
function strip() {
	const [waiting, refused] = [queue.waiting().length, queue.refused().length];
	put(by("queue"), [refused ? tn("▲ {n} refused", "▲ {n} refused", refused) : "", waiting ? tn("◷ {n} waiting", "◷ {n} waiting", waiting) : ""].filter(Boolean).join(" · ")
		|| t("✓ saved"));
	by("queue").dataset.state = refused ? "bad" : waiting ? "busy" : "good";
	put(by("link"), LINKS[feed.link][0]);
	by("link").dataset.state = LINKS[feed.link][1];
	const state = feed.state;
	const away = queue.elsewhere().length;
	const when = { stores: !queue.keeps, link: feed.link === "none" && state, store: state?.store_trouble,
		trouble: waiting && feed.link !== "none" && (feed.link === "code" ? t("this device must be paired first") : queue.trouble),
		away: away && tn("one tap", "{n} taps", away),
		watch: state?.role === "watch", clock: clock_set };
	for (const line of by("banner").children) {
		const told = when[line.dataset.when];
		line.hidden = !told;
		if (told && line.firstElementChild) put(line.firstElementChild, told);
		if (told && line.dataset.when === "store") tongue(line.firstElementChild, state.store_trouble_lang);
	}
	by("banner").hidden = !Object.values(when).some(Boolean);
}

/** Tell a screen reader what is new, at most every 5 s. */
function tell() {
	const waiting = queue.waiting().length;
	const words = [wanted || feed.state?.now?.sentence, waiting ? tn("{n} waiting", "{n} waiting", waiting) : ""].filter(Boolean).join(" ");
	if (words === spoken || performance.now() - spoken_at < SAID_EVERY_MS) return;
	[spoken, spoken_at, wanted] = [words, performance.now(), ""];
	put(by("said"), words);
}

function askQueue() {
	const waiting = queue.waiting();
	const list = el("ul.plainlist");
	const refusals = queue.refused().map((tap) => {
		const end = (word, act) => el("button.plain", word, { click: () => (act(), arrange(list, [...list.children].filter((one) => one !== item)), moved(list)) });
		const item = el("li.refusal", el("strong", wordsOf(tap)), el("span", t("Refused: {why}", { why: tap.why })), el("div.pair",
			end(t("Try again"), () => queue.retry(tap.key)), end(t("Dismiss"), () => queue.dismiss(tap.key))));
		return item;
	});
	list.append(...refusals, ...waiting.slice(0, 50).map((tap) => el("li", wordsOf(tap))));
	const why = queue.trouble;
	dialog(t("On the way to the laptop"), el("p", !waiting.length ? t("All else is saved.")
		: why ? tn("one tap waiting: {why}.", "{n} taps waiting: {why}.", waiting.length, { why })
			: tn("one tap waiting.", "{n} taps waiting.", waiting.length)), list);
}

function askCode() {
	other_code = true;
	[by("pairing").hidden, by("pair-not").hidden] = [false, false];
	put(by("pair-said"), "");
	window.scrollTo(0, 0);
	by("pair-code").focus();
}

function hideCode() {
	other_code = false;
	[by("pairing").hidden, by("pair-not").hidden] = [true, true];
}

function askLink() {
	const by_ms = `${Math.round(clock.offset_ms)} ms, ±${Math.max(1, Math.ceil(clock.uncertainty_ms))} ms`;
	const made = dialog(t("The laptop"), el("p", LINKS[feed.link][2]), el("p", clock.offset_ms === null
		? t("The clocks are not compared yet.")
		: t("This clock differs from the laptop's by {difference}. Each entry carries that difference.", { difference: by_ms })),
	el("button.wide", t("Enter another code"), { click: () => (made.close(), askCode()) }));
}

function lock() {
	by("lock").hidden = !speed.locked;
	for (const view of views.slice(1)) by(`view-${view.id}`).inert = speed.locked;
	by("beside").inert = speed.locked;
}

function update() {
	const { job, receiver } = feed.state;
	put(by("job"), job || "satdiag");
	put(by("receiver"), receiver && receiver !== "unknown" ? t("receiver {id}", { id: receiver }) : "");
	if (!other_code) hideCode();
	document.body.dataset.known = "";
	queue.serve(job);
	speed.tell(feed.state, feed.heard);
	for (const view of [...views, entries]) view.update();
	strip();
}

function everySecond() {
	clock.watch();
	speed.look();
	views[0].tick();
	tell();
}

/** Compare the clocks, then send what waits. */
const compare = () => clock.measure().then(() => queue.flush(true), () => {});
const unpaired = () => (by("pairing").hidden = false);

async function main() {
	guardTaps(() => app.say(t("This has just moved here: tap once more if you mean it."), true));
	for (const key of by("bar").children) key.addEventListener("click", () => show(key.dataset.view));
	show(views.find((view) => view.id === kept("satdiag.view"))?.id ?? "now");
	by("queue").addEventListener("click", askQueue);
	by("link").addEventListener("click", askLink);
	by("passenger").addEventListener("click", () => speed.passenger());
	by("pair-not").addEventListener("click", hideCode);
	pairForm(() => (hideCode(), feed.renew(), compare()));
	queue.addEventListener("change", () => (strip(), views[1].queued(), entries.update()));
	queue.addEventListener("unpaired", unpaired);
	queue.addEventListener("other", () => feed.refresh());
	feed.addEventListener("unpaired", unpaired);
	feed.addEventListener("state", update);
	feed.addEventListener("link", () => (strip(), ["none", "code"].includes(feed.link) || compare()));
	clock.addEventListener("server", () => (queue.serve(null), feed.refresh())); // it may record another job now
	clock.addEventListener("set", () => {
		clock_set = true;
		strip();
		app.say(t("The clock of this device was set; it was measured again."));
	});
	speed.addEventListener("change", lock);
	setInterval(everySecond, 1000);
	setInterval(() => document.hidden || document.body.dataset.view !== "timing" || views[2].tick(), 100);
	strip();
	await pairByAddress();
	feed.start();
	speed.begin();
	compare();
}

main();
