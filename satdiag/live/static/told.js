// What a view shows of the last analysis: asked for when the view is open and there is a newer one.

import { Answered, ask } from "./net.js";

/** Asks for a view and draws it. `draw(told)` is called with what the laptop tells; `told.number` is 0 before the first analysis. */
export class Told {
	#app;
	#name;
	#draw;
	#number = -1;
	#asking = false;

	constructor(app, name, draw) {
		[this.#app, this.#name, this.#draw] = [app, name, draw];
	}

	/** To be called with every state and when the view is shown. */
	async look() {
		const number = this.#app.state?.analysis ?? 0;
		if (document.body.dataset.view !== this.#name || this.#asking || number === this.#number) return;
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
		this.#number = told.number;
		this.#draw(told);
	}

	/** Ask again, as after something else than rows has changed. */
	again() {
		this.#number = -1;
		return this.look();
	}
}
