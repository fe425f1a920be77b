// A figure that is drawn while it is open and seen. The library is large, so it is fetched when one is opened first.

import { el, put } from "./dom.js";
import { ask } from "./net.js";
import { t } from "./words.js";

const PLAIN = { displayModeBar: false, displaylogo: false, responsive: true, doubleClick: false, scrollZoom: false };
let library = null;

function load() {
	library ??= new Promise((done, fail) => document.head.append(
		el("script", { src: "/plotly.js", load: () => done(window.Plotly), error: fail })));
	library.catch(() => (library = null)); // it is asked for again the next time
	return library;
}

/** Keep a figure in a `details` box up to date. `path`: what the laptop is asked; `words(told)`: the figure in words;
 * `plot(told)`: {data, layout} for the library, or null where there is nothing to draw. */
export function drawing({ box, place, said, path, every_ms, words, plot }) {
	let busy = false;
	const seen = () => box.open && !document.hidden && box.checkVisibility();

	async function draw() {
		if (busy || !seen()) return;
		busy = true;
		const loading = load();
		try {
			const told = await ask(path, undefined, 5000);
			put(said, words(told));
			const made = plot(told);
			place.hidden = !made;
			if (made) await (await loading).react(place, made.data, made.layout, PLAIN);
		} catch {
			put(said, t("The laptop does not answer, so the figure stands still."));
		} finally {
			busy = false;
		}
	}

	box.addEventListener("toggle", draw);
	matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
	document.addEventListener("visibilitychange", draw);
	setInterval(draw, every_ms);
}
