// What a voltage and a current of the antenna's feed mean, by the tables that the laptop hands over: the same rules as
// its own analysis, so that the word stands there at once. Nothing of a window stands here.

/** The voltage word of a number, by the windows of a lead. */
export function voltageWord(w, volts) {
	if (volts < w.no_voltage_v) return "none";
	if (volts < w.normal_v[0]) return "drooping";
	if (volts > w.normal_v[1]) return "over";
	return w.unloaded_v !== null && volts < w.unloaded_v ? "loaded" : "full";
}

/** The current word of a number. */
export function currentWord(w, milliamps) {
	if (milliamps < w.no_current_ma) return "none";
	if (milliamps < w.normal_ma[0]) return "low";
	if (milliamps <= w.normal_ma[1]) return "normal";
	return milliamps <= w.limit_ma ? "high" : "limit";
}

/** The last digit that a number was written with: 0.01 of '4.60'. */
export function stepOf(text) {
	return 10 ** -(String(text).split(".")[1] ?? "").length;
}

/** The state of a lead from its readings, oldest first, each {quantity, number, step, at_ms}.
 * Returns {state, doubt, chances}; state null: cannot be told, and `doubt` why; `chances` by state where an edge is near. */
export function judged(lead, rules, readings) {
	const latest = Math.max(...readings.map((one) => one.at_ms));
	const fresh = readings.filter((one) => latest - one.at_ms <= rules.recent_s * 1000);
	const [volts, milliamps] = ["voltage", "current"].map((quantity) => estimate(quantity, rules, fresh.filter((one) => one.quantity === quantity)));
	const seen = behind(volts, milliamps, lead.series_ohm) ?? volts;
	const w = lead.windows;
	const said = rules.judge[seen ? voltageWord(w, seen.value) : "-"][milliamps ? currentWord(w, milliamps.value) : "-"];
	const chances = chancesOf(w, rules, seen, milliamps);
	if (said.state === null || chances[said.state] >= rules.decisive) return { ...said, chances: null };
	return { state: null, doubt: null, chances };
}

/** What the last readings say: value and standard error, or null without any. */
function estimate(quantity, rules, readings) {
	if (!readings.length) return null;
	const [share, fixed] = rules.accuracy[quantity];
	const offOf = (value) => share * Math.abs(value) + fixed;
	const numbers = readings.slice(-rules.last).map((one) => one.number);
	if (readings.length < rules.last) {
		const value = numbers.at(-1);
		return { value, error: offOf(value) / rules.normal_95 };
	}
	const value = [...numbers].sort((a, b) => a - b)[Math.floor(rules.last / 2)];
	const off = offOf(value);
	if (numbers.some((number) => Math.abs(number - value) > rules.alike * off)) return { value, error: off / rules.normal_95 };
	const mean = numbers.reduce((sum, number) => sum + number, 0) / rules.last;
	const variance = numbers.reduce((sum, number) => sum + (number - mean) ** 2, 0) / (rules.last - 1);
	const rounding = Math.max(...readings.slice(-rules.last).map((one) => one.step)) ** 2 / 12;
	const half = rules.student_95 * Math.sqrt((variance + rounding) / rules.last);
	return { value, error: Math.hypot(half, off) / rules.normal_95 };
}

/** The voltage behind a series resistance (Ohm's law), where that is known. */
function behind(volts, milliamps, series_ohm) {
	if (!volts || !milliamps || series_ohm === null) return null;
	const ohm = series_ohm / 1000;
	return { value: volts.value - milliamps.value * ohm, error: Math.hypot(volts.error, milliamps.error * ohm) };
}

function chancesOf(w, rules, volts, milliamps) {
	const found = Object.fromEntries([...Object.keys(rules.words), "unknown"].map((state) => [state, 0]));
	const of_volts = between([w.no_voltage_v, w.normal_v[0], w.unloaded_v ?? w.normal_v[0], w.normal_v[1], Infinity],
		["none", "drooping", "loaded", "full", "over"], volts);
	const of_current = between([w.no_current_ma, ...w.normal_ma, w.limit_ma, Infinity], ["none", "low", "normal", "high", "limit"], milliamps);
	for (const [voltage, p] of of_volts) for (const [current, q] of of_current) found[rules.judge[voltage][current].state ?? "unknown"] += p * q;
	return found;
}

/** The chance of each stretch that ends at an edge; edges rise. */
function between(edges, words, found) {
	if (!found) return [["-", 1]];
	let before = 0;
	return edges.map((edge, n) => {
		const below = edge === Infinity ? 1 : normalBelow((edge - found.value) / found.error);
		const part = [words[n], Math.max(0, below - before)];
		before = below;
		return part;
	});
}

/** The standard normal distribution. Abramowitz and Stegun, 26.2.17: off by 7.5e-8 at most. */
export function normalBelow(x) {
	const k = 1 / (1 + 0.2316419 * Math.abs(x));
	const tail = Math.exp((-x * x) / 2) / Math.sqrt(2 * Math.PI)
		* k * (0.31938153 + k * (-0.356563782 + k * (1.781477937 + k * (-1.821255978 + k * 1.330274429))));
	return x < 0 ? tail : 1 - tail;
}
