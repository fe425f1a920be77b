// The figure 'How the channels came in', as the report draws it, in the colours of the page's theme.

import { by } from "./dom.js";
import { drawing } from "./drawing.js";
import { t } from "./words.js";

const EVERY_MS = 5000;
const dark = matchMedia("(prefers-color-scheme: dark)");

/** The figure on the view 'Now'. */
export function fillInFigure() {
	drawing({ box: by("came-in"), place: by("came-in-figure"), said: by("came-in-said"), path: "/fill-in", every_ms: EVERY_MS,
		words: ({ alt, caption }) => (alt ? `${alt} ${caption}` : t("Nothing is known yet of how the channels came in.")),
		plot: ({ spec, dark: night }) => (spec ? painted(spec, dark.matches ? night : {}) : null) });
}

/** The same with other colours. */
function painted(part, colours) {
	if (typeof part === "string") return colours[part] ?? part;
	if (Array.isArray(part)) return part.map((one) => painted(one, colours));
	if (part === null || typeof part !== "object") return part;
	return Object.fromEntries(Object.entries(part).map(([name, one]) => [name, painted(one, colours)]));
}
