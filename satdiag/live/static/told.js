// What a view shows of the last analysis: asked for when the view is open and there is a newer one.

import { Answered, ask } from "./net.js";

/** Asks for a view and draws it. `draw(told)` is called with what the laptop tells; `told.number` is 0 before the first
 * analysis, and at once when another job is served: nothing of the one before may stand there as its. */
export class Told {
	#app;
	#name;
	#draw;
	#seen = ""; // job, start of the laptop's recording, role and analysis of what is drawn: numbers alone begin anew
	#job;
	#asking = false;

	constructor(app, name, draw) {
		[this.#app, this.#name, this.#draw] = [app, name, draw];
	}

	/** To be called with every state and when the view is shown. */
	async look() {
		if (!this.#app.state) return;
		const { job, run, role, analysis } = this.#app.state;
		const sign = (number) => JSON.stringify([job, run, role, number]);
		if (document.body.dataset.view !== this.#name || this.#asking || sign(analysis ?? 0) === this.#seen) return;
		if (this.#job !== undefined && job !== this.#job) this.#draw({ number: 0 });
		this.#job = job;
		this.#asking = true;
		let told = null;
		try {
			told = await ask(`/view/${this.#name}`, undefined, 15_000);
		} catch (error) {
			if (!(error instanceof Answered || error instanceof TypeError || error.name === "AbortError")) throw error;
			return; // no answer now: it is asked again with the next state
		} finally {
			this.#asking = false;
		}
		if (job !== this.#app.state.job) return; // it was another job's
		this.#seen = sign(told.number);
		this.#draw(told);
	}
}
