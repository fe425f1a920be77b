// The difference between this device's clock and the laptop's, and how well it is known.

import { ask } from "./net.js";

const SAMPLES = 5;
const STEP_MS = 100; // a larger change of wall minus monotonic clock is a step, not drift
const AGAIN_MS = 300_000; // clocks drift: measure again
const DRIFT = 30e-6; // of two clocks, each of the frequency tolerance of RFC 5905: 15 ppm (PHI; from memory)
const GRAIN_MS = 1; // Date.now() tells whole milliseconds, and so does performance.now() in some browsers

/** Fires 'measured', 'set' (the clock of this device was changed) and 'server' (the laptop's program was restarted). */
export class Clock extends EventTarget {
	offset_ms = null;
	uncertainty_ms = null;
	server = null;
	#base = null; // wall minus monotonic clock at the last measurement
	#at = 0;
	#running = null;

	/** The moment of a tap. `offset_ms` is null as long as none is known for the clock as it stands now. */
	stamp() {
		const mono_ms = performance.now();
		const wall_ms = Date.now();
		const known = this.#base !== null && Math.abs(wall_ms - mono_ms - this.#base) <= STEP_MS;
		return {
			wall_ms,
			mono_ms,
			offset_ms: known ? this.offset_ms : null,
			uncertainty_ms: known ? this.#unsure(mono_ms - this.#at) : null,
		};
	}

	/** Fill in the offset of a moment that had none; a clock that was set in between widens the uncertainty. */
	complete(tap, samePage) {
		if (this.#base === null) return false;
		const moved = samePage ? Math.abs(tap.wall_ms - tap.mono_ms - this.#base) : 0;
		tap.offset_ms = this.offset_ms;
		tap.uncertainty_ms = this.#unsure(Date.now() - tap.wall_ms) + (moved > STEP_MS ? moved : 0);
		return true;
	}

	/** How well the offset is known so long before or after it was measured. */
	#unsure(away_ms) {
		return Math.round((this.uncertainty_ms + Math.abs(away_ms) * DRIFT) * 1000) / 1000;
	}

	/** Measure the offset: of five round trips the shortest counts. Throws if the laptop does not answer. */
	measure() {
		this.#running ??= this.#measure().finally(() => (this.#running = null));
		return this.#running;
	}

	/** To be called about once a second: measures again if the clock was set, or after some minutes. */
	watch() {
		if (this.#base === null) return;
		const moved = Math.abs(Date.now() - performance.now() - this.#base) > STEP_MS;
		if (moved || performance.now() - this.#at > AGAIN_MS) this.measure().catch(() => {});
	}

	async #measure() {
		let best = null;
		for (let n = 0; n < SAMPLES; n++) {
			const [mono, wall] = [performance.now(), Date.now()];
			const told = await ask("/time", undefined, 3000);
			const trip_ms = performance.now() - mono;
			if (!best || trip_ms < best.trip_ms) best = { trip_ms, told, mono, wall };
		}
		const offset_ms = best.told.wall_ms - (best.wall + best.trip_ms / 2);
		const base = best.wall - best.mono;
		const before = { offset_ms: this.offset_ms, base: this.#base, server: this.server };
		this.offset_ms = Math.round(offset_ms * 1000) / 1000;
		// The laptop looked at its clock somewhere within the trip; what the clocks here leave out comes on top.
		this.uncertainty_ms = Math.round(((best.trip_ms + GRAIN_MS) / 2 + GRAIN_MS) * 1000) / 1000;
		this.#base = base;
		this.#at = performance.now();
		this.server = best.told.server;
		this.dispatchEvent(new Event("measured"));
		if (before.server !== null && before.server !== this.server) this.dispatchEvent(new Event("server"));
		// A device that slept has a jump between its clocks too, but still agrees with the laptop as it did before.
		const stepped = before.base !== null && Math.abs(base - before.base) > STEP_MS;
		const differs = Math.abs(offset_ms - before.offset_ms) > STEP_MS + this.uncertainty_ms;
		if (stepped && differs) this.dispatchEvent(new Event("set"));
	}
}
