// Taps on their way to the job file. Each is kept in localStorage, under a name of its own, before it is sent, so that
// two open pages never write over one another; it goes only when the laptop says that it has saved it.

import { Answered, ask, uuid4 } from "./net.js";
import { t } from "./words.js";

const PREFIX = "satdiag.tap.";
const MOST = 50; // taps in one request
const MOST_BYTES = 48_000; // of the 64 kB that one request may have
const ADOPT_MS = 3000; // a tap of another page that waits longer than this is sent by us as well
const FIRST_S = 0.1;
const LONGEST_S = 2;

/** Fires 'change' when what waits or is in trouble changed, 'unpaired', and 'other': another job is recorded now. */
export class Queue extends EventTarget {
	trouble = ""; // why nothing goes through at present
	keeps = true; // false: this browser stores nothing
	#page = uuid4();
	#clock;
	#job = null; // the job that is served, as far as is known
	#sure = false; // false: it may be another one by now
	#barred = false; // this device may not write: nothing is sent until something has changed
	#telling = false;
	#memory = new Map();
	#seq = 0;
	#limit = MOST;
	#wait_s = FIRST_S;
	#running = false;
	#wake = null;
	#met; // taps of earlier pages, found at the start

	constructor(clock) {
		super();
		this.#clock = clock;
		this.#met = new Set(this.#all().map((tap) => tap.key));
		for (const name of ["online", "pageshow"]) window.addEventListener(name, () => this.flush(true));
		document.addEventListener("visibilitychange", () => document.hidden || this.flush(true));
		window.addEventListener("storage", (event) => {
			if (event.key === null || event.key.startsWith(PREFIX)) this.#changed();
		});
		setInterval(() => this.flush(), ADOPT_MS);
	}

	/** The job that the laptop records; null: not known for sure. Taps made for another one wait until it is served. */
	serve(job) {
		if (job !== null && !this.#sure) this.#unbar();
		this.#sure = job !== null;
		if (job !== null && job !== this.#job) {
			this.#job = job;
			this.#changed();
		}
		this.flush();
	}

	/** Keep a tap and send it. `fields`: kind, subject, value, unit?, note?, span_s?. Returns the tap. */
	add(fields, stamp) {
		const tap = { key: uuid4(), ...fields, ...stamp, page: this.#page, job: this.#job, seq: ++this.#seq };
		this.#keep(tap);
		this.#changed();
		this.flush();
		return tap;
	}

	/** Taps that are not yet saved, oldest first; those that the laptop refused are not among them. */
	waiting() {
		return this.#all().filter((tap) => !tap.why);
	}

	/** Taps that the laptop refused, each with `why`. */
	refused() {
		return this.#all().filter((tap) => tap.why);
	}

	/** Taps that wait for another job than the one served now. */
	elsewhere() {
		return this.waiting().filter((tap) => (tap.job ?? this.#job) !== this.#job);
	}

	/** Forget a refused tap, as the person asked. */
	dismiss(key) {
		this.#drop(key);
		this.#changed();
	}

	/** Try a refused tap once more. */
	retry(key) {
		const tap = this.#all().find((one) => one.key === key);
		if (!tap) return;
		delete tap.why;
		this.#keep(tap);
		this.#met.add(key);
		this.#changed();
		this.flush(true);
	}

	/** Send what waits. `now` cuts a back-off short. */
	flush(now = false) {
		if (now) this.#unbar();
		if (now && this.#wake) this.#wake();
		if (!this.#running) this.#run();
	}

	async #run() {
		this.#running = true;
		try {
			for (let batch = this.#batch(); batch.length; batch = this.#batch()) {
				const rest_s = await this.#send(batch);
				if (rest_s === null) break;
				if (rest_s > 0) await this.#pause(rest_s);
			}
		} finally {
			this.#running = false;
		}
	}

	/** The next taps to send: all of one page, for the job that is served. */
	#batch() {
		if (!this.#sure || this.#barred || this.#clock.offset_ms === null) return [];
		const now = Date.now();
		const mine = (tap) =>
			tap.page === this.#page || this.#met.has(tap.key) || Math.abs(now - tap.wall_ms) > ADOPT_MS;
		const due = this.waiting().filter((tap) => (tap.job ?? this.#job) === this.#job && mine(tap));
		const batch = [];
		let bytes = 0;
		for (const tap of due.filter((one) => one.page === due[0].page).slice(0, this.#limit)) {
			bytes += new TextEncoder().encode(JSON.stringify(tap)).length;
			if (batch.length && bytes > MOST_BYTES) break;
			batch.push(tap);
		}
		return batch;
	}

	/** Send taps. The seconds to wait before the next request; null: stop, something else must happen first. */
	async #send(batch) {
		for (const tap of batch) {
			// Written back first: what is sent twice must be the same twice.
			if (tap.offset_ms === null && this.#clock.complete(tap, tap.page === this.#page)) this.#keep(tap);
		}
		const taps = batch.map(({ page, job, seq, ...tap }) => tap);
		try {
			return this.#settle(batch, await ask("/taps", { page: batch[0].page, taps }, 4000));
		} catch (error) {
			return error instanceof Answered ? this.#answered(error, batch) : this.#unanswered();
		}
	}

	#settle(batch, answer) {
		const saved = new Set(answer.saved ?? []);
		const why = new Map((answer.refused ?? []).map((one) => [one.key, one.why || t("no reason was given")]));
		for (const key of answer.conflict ?? []) why.set(key, t("another entry of the same key is in the job already"));
		for (const tap of batch) {
			if (saved.has(tap.key)) this.#drop(tap.key);
			else if (why.has(tap.key)) this.#refuse(tap, why.get(tap.key));
		}
		this.#undone();
		if (!batch.some(({ key }) => saved.has(key) || why.has(key))) return this.#later(t("the laptop has not saved it yet"));
		this.#limit = Math.min(MOST, this.#limit * 2);
		this.#wait_s = FIRST_S;
		this.trouble = "";
		this.#changed();
		return 0;
	}

	/** A refused tap that was taken back on its way needs nobody's answer any more, nor does what took it back. */
	#undone() {
		const all = this.#all();
		const back = new Map(all.filter((tap) => tap.kind === "withdraw").map((tap) => [tap.value, tap.key]));
		for (const { key } of all.filter((tap) => tap.why && back.has(`p-${tap.key}`))) {
			this.#drop(back.get(`p-${key}`));
			this.#drop(key);
		}
	}

	#answered(error, batch) {
		if (error.status === 401 || error.status === 403) {
			this.#barred = true;
			this.trouble = t("this device must be paired before it may write");
			this.dispatchEvent(new Event("unpaired"));
			this.#changed();
			return null;
		}
		if (error.status === 409) {
			this.#sure = false;
			this.dispatchEvent(new Event("other"));
			return null;
		}
		if ([400, 413, 415, 422].includes(error.status)) {
			if (batch.length > 1) {
				this.#limit = Math.ceil(batch.length / 2); // one of them is at fault: find it
				return FIRST_S;
			}
			this.#refuse(batch[0], error.body?.error ?? error.message);
			this.#changed();
			return FIRST_S;
		}
		return Math.max(this.#later(error.message), Math.min(error.retry_s, 30));
	}

	#unbar() {
		if (!this.#barred) return;
		[this.#barred, this.trouble] = [false, ""];
		this.#changed();
	}

	/** No answer: the laptop may be another one, or started anew, when it is back; the clock is measured before we go on. */
	async #unanswered() {
		const rest_s = this.#later(t("no connection"));
		await this.#pause(rest_s);
		await this.#clock.measure().catch(() => {});
		return 0;
	}

	#later(why) {
		const rest_s = this.#wait_s * (0.75 + Math.random() / 2);
		this.#wait_s = Math.min(LONGEST_S, this.#wait_s * 2);
		if (this.trouble !== why) {
			this.trouble = why;
			this.#changed();
		}
		return Math.min(LONGEST_S, rest_s);
	}

	#pause(seconds) {
		return new Promise((resolve) => {
			const timer = setTimeout(resolve, seconds * 1000);
			this.#wake = () => (clearTimeout(timer), resolve());
		}).finally(() => (this.#wake = null));
	}

	#all() {
		const taps = [...this.#memory.values()];
		try {
			for (let n = 0; n < localStorage.length; n++) {
				const name = localStorage.key(n);
				const tap = name?.startsWith(PREFIX) ? JSON.parse(localStorage.getItem(name)) : null;
				if (tap) taps.push(tap);
			}
		} catch {
			this.keeps = false;
		}
		return taps.sort((a, b) => (a.page === b.page ? a.seq - b.seq : a.wall_ms - b.wall_ms));
	}

	#keep(tap) {
		try {
			localStorage.setItem(PREFIX + tap.key, JSON.stringify(tap));
			this.#memory.delete(tap.key);
		} catch {
			this.keeps = false; // full, or forbidden: better in memory than nowhere
			this.#memory.set(tap.key, tap);
		}
	}

	/** Keep a tap with the reason why it was refused, unless another page of this browser has seen it saved meanwhile. */
	#refuse(tap, why) {
		if (this.#all().some((one) => one.key === tap.key)) this.#keep({ ...tap, why });
	}

	#drop(key) {
		this.#memory.delete(key);
		try {
			localStorage.removeItem(PREFIX + key);
		} catch {
			this.keeps = false;
		}
	}

	/** Many changes of one moment are told once. */
	#changed() {
		if (this.#telling) return;
		this.#telling = true;
		queueMicrotask(() => {
			this.#telling = false;
			this.dispatchEvent(new Event("change"));
		});
	}
}
