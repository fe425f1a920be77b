// The channels where there are thousands: the laptop sends the part that is shown, and counts all of them.

import { by, el, fill, MARKS, put } from "./dom.js";
import { ask } from "./net.js";
import { language, t, tn } from "./words.js";

const AGAIN_MS = 1000; // so often at most a part is asked for anew while things change
const TYPING_MS = 250;
const SHOWS = ["all", "unchecked", "changed", "expected", ...MARKS.map(({ value }) => value)]; // in the order of the filter

/** What `look` gives where another question was put meanwhile. */
export const STALE = Symbol("stale");

const many = (number) => number.toLocaleString(language);
const nameOf = (category) => category || t("Without a category");

/** The part that is shown. `changed()` is called when there is another one. */
export class Part {
	#app;
	#changed;
	#told = null;
	#first = 0;
	#asking = false;
	#wanted = false; // another part than the one that is there, or on its way
	#lost = false;
	#asked_ms = -Infinity;
	#timer = 0;
	#picks = 0;
	#categories = "";

	constructor(app, changed) {
		[this.#app, this.#changed] = [app, changed];
		by("part-before").addEventListener("click", () => this.#go(-1));
		by("part-after").addEventListener("click", () => this.#go(1));
	}

	/** True where the laptop does not send all channels. */
	get on() {
		return Boolean(this.#app.state?.wide);
	}

	get channels() {
		return this.#told?.channels ?? [];
	}

	/** True if a category is small enough to be marked at once. */
	mayMark(category) {
		return (this.#group(category)?.channels ?? Infinity) <= this.#told.at_once;
	}

	/** Something else is looked for: it is asked for from its beginning, once typing pauses. */
	begin() {
		if (!this.on) return;
		this.#first = 0;
		this.#want(TYPING_MS);
	}

	/** Ask for the part if there is something new in it and it is looked at. */
	look() {
		for (const id of ["category", "part-said"]) by(id).hidden = !this.on;
		if (!this.on) by("parts").hidden = true;
		if (!this.on || document.body.dataset.view !== "channels") return;
		this.#choices();
		if (this.#told?.wide?.version !== this.#app.state.wide.version) this.#want(this.#asked_ms + AGAIN_MS - performance.now());
	}

	/** Something that was entered here is in the log now. */
	renew() {
		if (this.on) this.#want(0);
	}

	/** Say what is counted, of each of the groups of the page and over all. */
	count(groups) {
		for (const [category, { sums }] of groups) {
			const { channels, plays } = this.#group(category) ?? { channels: 0, plays: 0 };
			put(sums, tn("{plays} of one plays", "{plays} of {n} play", channels, { n: many(channels), plays: many(plays) }));
		}
		const { channels, plays, due } = this.#app.state.wide;
		put(by("tally"), tn("{plays} of one channel plays, {due} not checked yet.", "{plays} of {n} channels play, {due} not checked yet.",
			channels, { n: many(channels), plays: many(plays), due: many(due) }));
		this.#say();
	}

	/** The least and the greatest number. */
	async ends() {
		const told = await ask("/channels/numbers").catch(() => ({}));
		return [told.from ?? "", told.to ?? ""];
	}

	/** Channels to be marked together: `look` finds out which, and gives words if they cannot be. `asked()`: which. */
	pick(asked) {
		let numbers = [];
		const look = async () => {
			const turn = ++this.#picks;
			numbers = [];
			const told = await ask(`/channels/numbers?${new URLSearchParams(asked())}`).catch(() => null);
			if (turn !== this.#picks) return STALE;
			if (!told) return t("The laptop does not tell which channels these are: nothing is marked.");
			numbers = told.numbers;
			return told.count <= told.most ? "" : t("That would be {n} channels. At most {most} are marked at once: choose fewer.",
				{ n: many(told.count), most: many(told.most) });
		};
		return { numbers: () => numbers, look };
	}

	#group(category) {
		return this.#told?.groups.find((one) => nameOf(one.category) === category);
	}

	async #go(way) {
		this.#first = Math.max(0, (this.#told?.first ?? 0) + way * (this.#told?.most ?? 0));
		await this.#ask();
		by("groups").tabIndex = -1; // who uses a keyboard goes on from the first of them
		by("groups").focus({ preventScroll: true });
		by("part-said").scrollIntoView({ block: "center" });
	}

	#want(wait_ms) {
		this.#wanted = true;
		if (this.#asking) return;
		clearTimeout(this.#timer);
		this.#timer = setTimeout(() => this.#ask(), Math.max(0, wait_ms));
	}

	async #ask() {
		clearTimeout(this.#timer);
		this.#wanted = true;
		if (this.#asking || !this.on) return;
		[this.#asking, this.#wanted, this.#asked_ms] = [true, false, performance.now()];
		const told = await ask(`/channels?${this.#query()}`).catch(() => null);
		[this.#asking, this.#lost] = [false, !told];
		if (told) this.#told = told;
		if (told && !this.#wanted) this.#first = told.first;
		this.#changed();
		if (this.#wanted || this.#lost) this.#want(this.#lost ? 2 * AGAIN_MS : 0);
	}

	#query() {
		const asked = { words: by("search").value.trim(), show: SHOWS[by("filter").value] ?? "all", first: this.#first };
		if (by("category").value) asked.category = by("category").value.slice(1);
		return new URLSearchParams(asked);
	}

	#say() {
		const { first = 0, found = 0, channels = [] } = this.#told ?? {};
		const shown = { first: many(first + 1), last: many(first + channels.length), n: many(found) };
		put(by("part-said"), this.#lost ? t("The laptop is not heard: the list stands as it was.")
			: !this.#told ? t("The channels are being fetched.")
				: !found ? t("No channel fits what is looked for.")
					: found === 1 ? t("One channel fits.") : t("Shown: {first} to {last} of {n}.", shown));
		by("parts").hidden = found <= channels.length;
		by("part-before").disabled = first === 0;
		by("part-after").disabled = first + channels.length >= found;
	}

	/** The categories to choose from: those that the laptop names of the line-up; others are found by their name. */
	#choices() {
		const named = (this.#app.state.lineup?.categories ?? []).map((one) => one.category).filter((one) => one !== null);
		const key = JSON.stringify(named);
		if (key === this.#categories) return;
		this.#categories = key;
		const before = by("category").value;
		fill(by("category"), el("option", t("all categories"), { value: "" }),
			...named.map((category) => el("option", nameOf(category), { value: `=${category}` })));
		by("category").value = before;
		if (by("category").selectedIndex < 0) by("category").value = "";
	}
}
