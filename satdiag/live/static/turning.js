// Which way the vehicle's nose points: a dial, the eight keys of the compass, and this device's own compass.

import { el, put } from "./dom.js";
import { press, target } from "./press.js";
import { winds } from "./skyplot.js";
import { figure, t } from "./words.js";

const STEP_DEG = 5;
const LEAP_DEG = 45;
const FEEL_DEG = 2; // less than this is trembling, not turning
const SILENT_MS = 2500; // a device that has a compass tells it long before
const FLAT_DEG = 60; // a device held steeper than this has no direction over ground that one could trust
const KEYS = { ArrowRight: STEP_DEG, ArrowUp: STEP_DEG, ArrowLeft: -STEP_DEG, ArrowDown: -STEP_DEG, PageUp: LEAP_DEG, PageDown: -LEAP_DEG };
const WINDS = [t("north"), t("northeast"), t("east"), t("southeast"), t("south"), t("southwest"), t("west"), t("northwest")];

/** An angle within 0 to below 360 degrees. */
export const whole = (angle_deg) => ((angle_deg % 360) + 360) % 360;

/** The nearest of the eight directions, in words. */
export const windOf = (angle_deg) => WINDS[Math.round(whole(angle_deg) / 45) % 8];

/** The heading that an event of the orientation sensor tells for the way that is up on the screen, in degrees clockwise
 * from north; null where it tells none. `turned_deg`: how far the screen's picture is turned (screen.orientation.angle). */
export function headingOf({ webkitCompassHeading: told, absolute, alpha, beta }, turned_deg) {
	if (Number.isFinite(told)) return told < 0 ? null : whole(told + turned_deg);
	if (!absolute || !Number.isFinite(alpha)) return null;
	if (Math.abs(beta ?? 0) > FLAT_DEG) return null;
	// A device that lies flat heads to 360 - alpha (W3C Device Orientation and Motion, 'alpha' counts anticlockwise).
	return whole(360 - alpha + turned_deg);
}

/** Listens to the orientation sensor from a tap on. `told(heading_deg)`; `said(words)`: why there is nothing, or ''. */
export class Compass {
	on = false;
	#told;
	#said;
	#last = null;
	#timer = 0;
	#hear = (event) => this.#heard(event);

	constructor(told, said) {
		[this.#told, this.#said] = [told, said];
	}

	/** To be called from a tap: some browsers ask the person then. */
	async start() {
		if (!window.isSecureContext || !window.DeviceOrientationEvent) {
			this.#said(t("A browser gives the compass to secure pages alone, and this one comes from the laptop without https: turn the dial."));
			return;
		}
		const asked = await DeviceOrientationEvent.requestPermission?.().catch(() => "denied");
		if (asked && asked !== "granted") {
			this.#said(t("This device does not allow the compass: turn the dial."));
			return;
		}
		[this.on, this.#last] = [true, null];
		this.#said(t("Waiting for the compass. Hold this device flat."));
		for (const name of ["deviceorientationabsolute", "deviceorientation"]) window.addEventListener(name, this.#hear);
		this.#timer = setTimeout(() => {
			this.stop();
			this.#said(t("This device tells no direction: turn the dial."));
		}, SILENT_MS);
	}

	stop() {
		this.on = false;
		clearTimeout(this.#timer);
		for (const name of ["deviceorientationabsolute", "deviceorientation"]) window.removeEventListener(name, this.#hear);
	}

	#heard(event) {
		const heading = headingOf(event, window.screen.orientation?.angle ?? 0);
		if (heading === null) return;
		clearTimeout(this.#timer);
		const moved = this.#last === null ? 360 : Math.abs(whole(heading - this.#last + 180) - 180);
		if (moved < FEEL_DEG) return;
		if (this.#last === null) this.#said(t("The compass is followed. It tells magnetic north, and steel deflects it: hold this device flat and away from the vehicle, and compare with a street on a map."));
		this.#last = heading;
		this.#told(Math.round(heading) % 360);
	}
}

/** The card with the dial. `turned(heading_deg)` is called when another heading is chosen. */
export function turningCard(app, turned) {
	let chosen = null;
	let mine = false; // it was chosen here, and is not exchanged for the log's
	const handle = el("div.dial-handle", { role: "slider", tabindex: "0", "aria-label": t("Heading of the vehicle's nose"),
		"aria-valuemin": "0", "aria-valuemax": "359" }, el("span", { "aria-hidden": "true" }, "▲"));
	const [degrees, wind, said] = [el("strong.count"), el("span"), el("p.small", { role: "status" })];
	const letters = winds().filter((_, n) => n % 2 === 0).map((one, n) => el(`span.dial-wind.at-${n}`, one));
	const dial = el("div.dial", el("div.dial-letters", { "aria-hidden": "true" }, letters),
		el("div.dial-middle", { "aria-hidden": "true" }, degrees, wind), handle);
	const compass = new Compass((heading) => choose(heading), (words) => (put(said, words), show()));
	const follow = el("button.wide", { click: () => (compass.on ? rest() : compass.start()) });
	const enter = press(el("button.go.tall"), app.clock, (stamp) => {
		if (chosen === null) return;
		app.enter({ kind: "heading", subject: "vehicle", value: String(chosen), unit: "deg" }, stamp);
	});
	const keys = winds().map((one, n) => target(app, "choice-key", one, () => byHand(45 * n), `${one}, ${WINDS[n]}`));

	function rest() {
		if (!compass.on) return;
		compass.stop();
		put(said, "");
		show();
	}

	function byHand(heading) {
		rest();
		choose(whole(heading));
	}

	function choose(heading) {
		mine = true;
		if (heading !== chosen) set(heading);
		else show();
	}

	function set(heading) {
		chosen = heading;
		show();
		turned(heading);
	}

	function show() {
		const at = chosen ?? 0;
		handle.style.setProperty("--turn", `${at}deg`);
		handle.setAttribute("aria-valuenow", at);
		handle.setAttribute("aria-valuetext", chosen === null ? t("not chosen yet")
			: t("{heading} degrees, {wind}", { heading: figure(at, at % 1 ? 1 : 0), wind: windOf(at) }));
		const said_at = figure(at, at % 1 ? 1 : 0);
		put(degrees, chosen === null ? "–" : `${said_at}°`);
		put(wind, chosen === null ? t("not chosen yet") : windOf(at));
		put(enter, chosen === null ? t("Enter this heading") : t("Enter this heading: {heading}°", { heading: said_at }));
		enter.disabled = chosen === null;
		put(follow, compass.on ? t("Do not follow the compass") : t("Follow this device's compass"));
		follow.ariaPressed = String(compass.on);
	}

	/** The azimuth of a touch, seen from the middle of the dial. */
	function azimuthOf(event) {
		const box = dial.getBoundingClientRect();
		const angle = Math.atan2(event.clientX - box.left - box.width / 2, box.top + box.height / 2 - event.clientY);
		return whole(STEP_DEG * Math.round((angle * 180) / Math.PI / STEP_DEG));
	}

	handle.addEventListener("keydown", (event) => {
		const step = KEYS[event.key];
		const to = event.key === "Home" ? 0 : step && STEP_DEG * Math.round(((chosen ?? 0) + step) / STEP_DEG);
		if (to === undefined || event.ctrlKey || event.altKey || event.metaKey) return;
		event.preventDefault();
		byHand(to);
	});
	handle.addEventListener("pointerdown", (event) => event.isPrimary && handle.setPointerCapture(event.pointerId));
	handle.addEventListener("pointermove", (event) => handle.hasPointerCapture(event.pointerId) && byHand(azimuthOf(event)));
	dial.addEventListener("click", (event) => handle.contains(event.target) || byHand(azimuthOf(event)));
	document.addEventListener("visibilitychange", () => document.hidden && rest());
	show();
	const card = el("section.card.sky-turning", el("h2", t("Which way the nose points")), el("p.small", t("Turn the arrow to where the vehicle's nose points, north being up, or press a direction.")),
		dial, el("div.compass", { role: "group", "aria-label": t("Direction of the nose") }, keys), enter, follow, said);

	return {
		card,
		get heading() {
			return chosen;
		},
		/** Take the heading of the log, unless another one was chosen here and is not in the log yet. */
		logged(heading) {
			if (heading === chosen) mine = false;
			if (heading !== null && !mine && heading !== chosen) set(heading);
		},
		/** Who may only watch turns the picture, but is offered no entry. */
		may(writes) {
			if (enter.hidden === writes) enter.hidden = !writes;
		},
		/** The view is left: a sensor that nobody looks at costs current. */
		rest,
	};
}
