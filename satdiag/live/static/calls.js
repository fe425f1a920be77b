// The moments at which a person is called: planned from what the laptop says, each called once, kept over a reload.

import { kept } from "./dom.js";
import { t } from "./words.js";

const NAME = "satdiag.calls";
const AGAIN_MS = 30_000; // a moment that was called is called again only if it comes to lie so far ahead
const BEAT_S = [0, 0.35, 0.7];

/** Each call: its words (`at`: with the time of day), its sound as [Hz, at s, long s], and how the phone shakes. The weightiest
 * comes first. */
export const CALLS = {
	stop: { name: t("Stop waiting"), now: t("Stop waiting"), until: t("Stop waiting in"), left: t("Stop waiting after"),
		called: t("Stop waiting."), title: t("{time}: stop waiting"), tones: [[660, 0, 0.5], [440, 0.6, 1.3]],
		shake: [900, 250, 900] },
	half: { name: t("Half should have come"), now: t("Half should have come"), until: t("Half should have come in"),
		left: t("Half should have come after"), called: t("Half should have come."), title: t("{time}: half should have come"),
		tones: [[660, 0, 0.18], [990, 0.2, 0.3], [660, 0.8, 0.18], [990, 1, 0.3]], shake: [120, 80, 400, 300, 120, 80, 400] },
	look: { name: t("Look again"), now: t("Look again now"), until: t("Look again in"), left: t("Look again after"),
		called: t("Look again now."), title: t("{time}: look again now"), tones: BEAT_S.map((at_s) => [880, at_s, 0.22]),
		shake: [250, 120, 250, 120, 250] },
};

/** Sound and vibration: a browser gives sound only after a tap on this very page, or none at all. Fires 'change'. */
class Alarm extends EventTarget {
	makes = "AudioContext" in window;
	shakes = "vibrate" in navigator;
	#audio = null;
	#waking = false;

	/** True if a sound would be heard now. */
	get ready() {
		return this.#audio?.state === "running";
	}

	/** To be called while a tap is handled. */
	async wake() {
		if (!this.makes || this.#waking) return;
		const fresh = !this.ready;
		this.#waking = true;
		try {
			if (!this.#audio) {
				this.#audio = new AudioContext();
				this.#audio.addEventListener("statechange", () => this.dispatchEvent(new Event("change")));
			}
			await this.#audio.resume();
		} catch {
			this.makes = false; // a browser that has the class and no sound
		} finally {
			this.#waking = false;
		}
		if (fresh && this.ready) this.#tone(880, 0, 0.08);
		this.dispatchEvent(new Event("change"));
	}

	call({ tones, shake }) {
		if (this.ready) for (const tone of tones) this.#tone(...tone);
		if (this.shakes) navigator.vibrate(shake);
	}

	#tone(hertz, at_s, long_s) {
		const [tone, loud] = [this.#audio.createOscillator(), this.#audio.createGain()];
		const start = this.#audio.currentTime + at_s;
		tone.frequency.value = hertz;
		loud.gain.setValueAtTime(0.35, start);
		loud.gain.exponentialRampToValueAtTime(0.001, start + long_s);
		tone.connect(loud).connect(this.#audio.destination);
		tone.start(start);
		tone.stop(start + long_s);
	}
}

/** The calls of one job. Fires 'change' when what is said of the sound has changed. */
export class Calls extends EventTarget {
	armed = false;
	running = null; // whether waits count now, as the laptop says; null: it does not know
	#alarm = new Alarm();
	#job = null;
	#tried = false; // to bring the sound back, by this very button
	#held = {}; // what -> {due_ms: on this device's clock, or null while it stands still; left_ms, why, called}

	constructor() {
		super();
		const before = kept(NAME);
		if (before) [this.armed, this.#job, this.#held] = [before.armed === true, before.job, before.held ?? {}];
		this.#alarm.addEventListener("change", () => this.dispatchEvent(new Event("change")));
		const wake = () => this.needsTap && this.#alarm.wake(); // any tap will do
		for (const name of ["click", "keydown"]) document.addEventListener(name, wake);
	}

	/** Switch the sound on or off; on a page that was loaded anew a tap brings the sound back first. */
	arm() {
		if (this.needsTap && !this.#tried) {
			this.#tried = true;
			this.#alarm.wake();
			return;
		}
		this.armed = !this.armed;
		this.#tried = this.armed;
		if (this.armed) this.#alarm.wake();
		this.#keep();
	}

	/** True if it is switched on, but no sound comes before the page is tapped. */
	get needsTap() {
		return this.armed && this.#alarm.makes && !this.#alarm.ready;
	}

	/** What this device can do, in a sentence; blank: nothing. */
	get means() {
		const { makes, shakes } = this.#alarm;
		if (makes && shakes) return t("It calls by sound and vibration (if it can), while this page is open and the screen on.");
		if (makes) return t("It calls by sound, while this page is open and the screen on.");
		return shakes ? t("It calls by vibration (if it can), while this page is open and the screen on.") : "";
	}

	/** Take over what the laptop says: `told` is its `now`, worked out `age_s` ago. */
	plan(job, told, age_s) {
		if (job !== this.#job) [this.#job, this.#held] = [job, {}];
		this.running = told?.running ?? null;
		const calls = Array.isArray(told?.calls) ? told.calls : [];
		const at_ms = Date.now();
		for (const what of Object.keys(CALLS)) {
			const call = calls.find((one) => one?.what === what && Number.isFinite(one.in_s));
			if (call) this.#move(what, call, at_ms - (age_s ?? 0) * 1000 + call.in_s * 1000, at_ms);
			else delete this.#held[what];
		}
		this.#keep();
	}

	#move(what, { in_s, why }, due_ms, at_ms) {
		const before = this.#held[what];
		if (before?.called && due_ms <= at_ms + AGAIN_MS) before.why = String(why ?? "");
		else {
			const stands = this.running === false && in_s > 0;
			this.#held[what] = { due_ms: stands ? null : due_ms, left_ms: in_s * 1000, why: String(why ?? ""), called: false };
		}
	}

	/** The calls to show, first the one that matters: the weightiest that is due, else the next. */
	list() {
		const at_ms = Date.now();
		const all = Object.keys(CALLS).filter((what) => this.#held[what]).map((what) => {
			const { due_ms, left_ms, why } = this.#held[what];
			return { what, due_ms, why, left_s: (due_ms === null ? left_ms : due_ms - at_ms) / 1000 };
		});
		const due = all.filter((one) => one.left_s <= 0);
		const ahead = all.filter((one) => one.left_s > 0).sort((a, b) => a.left_s - b.left_s);
		return [...due.slice(0, 1), ...ahead, ...due.slice(1)];
	}

	/** To be called about once a second: makes the calls that are due. Returns what was called, or null. */
	look() {
		const due = this.list().filter(({ what, left_s }) => left_s <= 0 && !this.#held[what].called);
		if (!due.length) return null;
		for (const { what } of due) this.#held[what].called = true;
		this.#keep();
		const what = Object.keys(CALLS).find((one) => due.some((call) => call.what === one));
		if (this.armed) this.#alarm.call(CALLS[what]);
		return what;
	}

	#keep() {
		kept(NAME, { armed: this.armed, job: this.#job, held: this.#held });
	}
}
