// How long a channel change takes: one large button at the change, others at the sound and the title.

import { delaysCard } from "./delays.js";
import { by, el, fill, kept, put } from "./dom.js";
import { press } from "./press.js";
import { figure, t } from "./words.js";

const OPEN = "satdiag.attempt";
const PAST = "satdiag.attempts";
const LAST = "satdiag.channel";
const SHOWN = 6;
const EPOCH_MS = 1e11; // no attempt lasts three years
const SAME_MS = 3000;
const ANOTHER = "another change"; // as it is kept
const AFTER = { audio: t("sound after {time} s"), title: t("title after {time} s"), refused: t("refused after {time} s"),
	abandoned: t("gave up after {time} s") };

/** The view 'Change timing'. An open attempt lies in localStorage and so survives a reload and a sleeping phone. */
export function timingView(app) {
	let attempt = kept(OPEN); // {channel, key, origin: of the page's clock, wall_ms, mono_ms, s of each mark, keys: of their taps}
	const gone = []; // attempts whose beginning was taken back here; the laptop may not know yet
	const number = by("tune-number");
	const signs = [...document.querySelectorAll("[data-sign]")];
	const delays = delaysCard(app);
	number.value = kept(LAST) ?? "";
	number.addEventListener("input", () => kept(LAST, number.value.trim()));
	for (const key of document.querySelectorAll("[data-step]")) {
		key.addEventListener("click", () => {
			number.value = Math.max(0, (Number(number.value) || 0) + Number(key.dataset.step));
			kept(LAST, number.value);
		});
	}
	press(by("changed"), app.clock, begin);
	for (const key of signs) press(key, app.clock, (stamp) => sign(key.dataset.sign, stamp));
	window.addEventListener("storage", (event) => {
		if (event.key !== OPEN) return;
		attempt = kept(OPEN);
		update();
	});

	function begin(stamp) {
		const channel = number.value.trim();
		if (!/^(0|[1-9][0-9]{0,6})$/.test(channel)) {
			app.say(t("Give the channel's number first."), true);
			return number.focus();
		}
		const tap = app.enter({ kind: "tune", subject: channel, value: "requested" }, stamp);
		if (!tap) return;
		if (attempt) finish(ANOTHER);
		hold({ channel, key: tap.key, origin: performance.timeOrigin, wall_ms: stamp.wall_ms, mono_ms: stamp.mono_ms });
		update();
	}

	function sign(value, stamp) {
		const running = attempt ?? told();
		if (!running || value in running) return;
		const tap = app.enter({ kind: "tune", subject: running.channel, value }, stamp);
		if (!tap) return;
		hold({ ...running, [value]: took_s(running, stamp), keys: { ...running.keys, [value]: tap.key } });
		if (isOver(attempt)) finish();
		update();
	}

	function hold(one) {
		attempt = one;
		kept(OPEN, one);
	}

	function finish(why) {
		kept(PAST, [{ ...attempt, why }, ...(kept(PAST) ?? [])].slice(0, SHOWN));
		hold(null);
	}

	/** An attempt that another page of this job began, as the laptop tells it; not one that was ended here. */
	function told() {
		const one = app.state?.attempt;
		if (!one || typeof one.since_ms !== "number") return null;
		const epoch = one.since_ms > EPOCH_MS; // else it counts from the beginning of the attempt
		const wall_ms = epoch ? one.since_ms - (app.clock.offset_ms ?? 0)
			: Date.now() - (performance.now() - app.feed.heard) - one.since_ms;
		const ended = [...gone, ...(kept(PAST) ?? [])].some((was) => was.channel === String(one.channel) &&
			Math.abs(was.wall_ms - wall_ms) < SAME_MS);
		return ended ? null : { channel: String(one.channel), wall_ms };
	}

	function took_s(running, stamp) {
		const same = running.origin === performance.timeOrigin;
		return Math.max(0, (same ? stamp.mono_ms - running.mono_ms : stamp.wall_ms - running.wall_ms) / 1000);
	}

	function update() {
		const running = attempt ?? told();
		put(by("attempt"), running ? standing(running) : t("No attempt is open."));
		for (const key of signs) {
			const { sign: mark } = key.dataset;
			key.disabled = !running || mark in running || (mark === "refused" && "audio" in running);
		}
		const done = kept(PAST) ?? [];
		fill(by("past"), ...(done.length ? done.map(summary) : [t("None yet.")]).map((text) => el("li", text)));
		tick();
		delays.look();
	}

	function tick() {
		const running = attempt ?? told();
		put(by("since"), running ? `${figure(took_s(running, app.clock.stamp()), 1)} s` : "");
	}

	/** An entry was taken back: with its beginning goes the attempt, with a mark what it ended. */
	function withdrawn(id) {
		const past = kept(PAST) ?? [];
		const changed = attempt ? without(attempt, id) : undefined;
		if (changed === null) gone.push(attempt);
		if (changed === null && past[0]?.why === ANOTHER) { // this change had ended the one before
			hold({ ...past[0], why: undefined });
			kept(PAST, past.slice(1));
		} else if (changed !== undefined) hold(changed);
		else withdrawnPast(id, past);
		update();
	}

	function withdrawnPast(id, past) {
		const at = past.findIndex((one) => without(one, id) !== undefined);
		if (at < 0) return;
		const changed = without(past[at], id);
		const opens = changed && at === 0 && !attempt && !changed.why && !isOver(changed);
		if (opens) hold(changed);
		kept(PAST, [...past.slice(0, at), ...(changed && !opens ? [changed] : []), ...past.slice(at + 1)]);
	}

	update();
	return { id: "timing", update, tick, withdrawn, shown: delays.look };
}

function isOver(one) {
	return ("audio" in one && "title" in one) || "refused" in one || "abandoned" in one;
}

/** An attempt without the entry of an id: null if that began it, undefined if it is none of its entries. */
function without(one, id) {
	if (one.key && id === `p-${one.key}`) return null;
	const mark = Object.keys(one.keys ?? {}).find((name) => id === `p-${one.keys[name]}`);
	if (!mark) return undefined;
	const { [mark]: taken, ...rest } = one;
	const { [mark]: key, ...keys } = one.keys;
	return { ...rest, keys };
}

/** Where the open attempt stands. */
function standing({ channel, ...marks }) {
	if ("audio" in marks) return t("Channel {channel}, sound there: waiting", { channel });
	return "title" in marks ? t("Channel {channel}, title there: waiting", { channel }) : t("Channel {channel}: waiting", { channel });
}

function summary(one) {
	const marks = Object.keys(AFTER).filter((mark) => typeof one[mark] === "number");
	const parts = marks.map((mark) => AFTER[mark].replace("{time}", figure(one[mark], 1)));
	const seen = [...parts, one.why ? t("ended by another change") : ""].filter(Boolean).join(", ");
	return seen ? t("Channel {channel}: {seen}", { channel: one.channel, seen })
		: t("Channel {channel}: what was seen was taken back", { channel: one.channel });
}
