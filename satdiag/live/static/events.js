// What the laptop knows: one stream of events, or polling every 2 s while there is none.

import { Answered, ask, mean } from "./net.js";

const POLL_MS = 2000;
const QUIET_MS = 10_000; // a stream that says nothing for so long is checked

/** Fires 'state' (this.state, with `heard` = performance.now()), 'link' and 'unpaired'. `link`: stream, poll, code, none. */
export class Feed extends EventTarget {
	state = null;
	heard = -Infinity;
	link = "none";
	changed = null; // numbers of the channels that changed with the last state; null: all of them
	#stream = null;
	#open = false;
	#asked = null; // the request under way
	#next = null; // the one after it
	#retry_at = 0;
	#told = {}; // what this stream has told so far: an event holds what is new

	/** Start listening. */
	start() {
		this.refresh();
		setInterval(() => this.#look(), POLL_MS);
		for (const name of ["online", "pageshow"]) window.addEventListener(name, () => this.refresh());
		document.addEventListener("visibilitychange", () => document.hidden || this.refresh());
	}

	/** Fetch the whole state, then make sure that the stream runs. What is under way may tell of a time before this call:
	 * then it is asked once more. */
	refresh() {
		if (this.#asked) return (this.#next ??= this.#asked.then(() => ((this.#next = null), this.refresh())));
		this.#asked = this.#fetch().finally(() => (this.#asked = null));
		return this.#asked;
	}

	async #fetch() {
		try {
			const state = await ask("/state", undefined, 5000);
			this.changed = null;
			this.#take(state);
			this.#connect();
			this.#link(this.#open ? "stream" : "poll");
		} catch (error) {
			const unpaired = error instanceof Answered && [401, 403].includes(error.status);
			if (unpaired) this.dispatchEvent(new Event("unpaired"));
			this.#link(unpaired ? "code" : "none");
		}
	}

	/** Begin anew, as after another pairing: a stream goes on as what it was opened for. */
	renew() {
		this.#stream?.close();
		[this.#stream, this.#open, this.#retry_at] = [null, false, 0];
		return this.refresh();
	}

	#look() {
		if (!this.#asked && (!this.#open || performance.now() - this.heard > QUIET_MS)) this.refresh();
	}

	#connect() {
		if (this.#stream || !("EventSource" in window) || performance.now() < this.#retry_at) return;
		const stream = new EventSource("/events");
		this.#stream = stream;
		this.#told = {};
		let first = true;
		stream.addEventListener("open", () => {
			this.#open = true;
			if (!first) this.refresh(); // what changed while there was no stream is not sent again
			first = false;
			this.#link("stream");
		});
		stream.addEventListener("state", (event) => this.#event(event.data));
		stream.addEventListener("error", () => {
			this.#open = false;
			if (stream.readyState === EventSource.CLOSED) {
				this.#stream = null;
				this.#retry_at = performance.now() + POLL_MS;
			}
			this.refresh();
		});
	}

	#event(text) {
		let told;
		try {
			told = JSON.parse(text);
		} catch {
			return;
		}
		const { channels_changed, entries_changed, entries_from, ...news } = told;
		const streamed = this.state === this.#told; // else the page shows what an answer told
		this.changed = null; // with all channels told those that are not among them have gone
		if (!told.channels) {
			const held = this.#told.channels ?? this.state?.channels ?? [];
			const numbers = new Set(held.map((one) => one.number));
			if (streamed && channels_changed?.every((one) => numbers.has(one.number))) this.changed = channels_changed.map((one) => one.number);
			news.channels = merged(held, channels_changed, "number");
		}
		if (entries_changed) {
			const all = merged(this.#told.entries ?? [], entries_changed, "n").filter((one) => one.n >= entries_from);
			news.entries = all.sort((a, b) => b.n - a.n);
		}
		this.#told = { ...this.#told, ...news };
		this.#take(this.#told);
		this.#link("stream");
	}

	/** Take a state. Answers and events overtake one another: one that is older than what is there says nothing. */
	#take(state) {
		const { job, run, built_s } = this.state ?? {};
		if (state.job === job && state.run === run && state.built_s < built_s) return;
		this.state = state;
		mean(state.job);
		this.heard = performance.now();
		this.dispatchEvent(new Event("state"));
	}

	#link(link) {
		if (this.link === link) return;
		this.link = link;
		this.dispatchEvent(new Event("link"));
	}
}

/** A list with those items of it exchanged that are told anew, and others added. */
function merged(held, told = [], key) {
	const news = new Map(told.map((one) => [one[key], one]));
	const kept = held.map((one) => {
		const now = news.get(one[key]) ?? one;
		news.delete(one[key]);
		return now;
	});
	return [...kept, ...news.values()];
}
