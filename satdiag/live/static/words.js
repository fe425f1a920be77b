// The words of the scripts in the page's language. English is the key; the laptop put the table into the page.

const table = JSON.parse(document.getElementById("words")?.textContent || '{"language":"en","texts":{}}');

/** The language of the page: en, es or fr. */
export const language = table.language;

const one_of = { en: (n) => n === 1, es: (n) => n === 1, fr: (n) => n < 2 }[language];

/** A text with its values set in: t("{n} rows are saved", { n }). Write it with double quotes: it is searched for. */
export function t(text, values = {}) {
	return filled(table.texts[text]?.[0] ?? text, values);
}

/** The form for a count: tn("one channel", "{n} channels", n). */
export function tn(one, many, n, values = {}) {
	const [single, several] = table.texts[one] ?? [one, many];
	return filled(one_of(n) ? single : several, { n, ...values });
}

/** A number in the form of the language, e.g. 0.5 or 0,5. */
export function figure(value, digits = 0) {
	return value.toLocaleString(language, { minimumFractionDigits: digits, maximumFractionDigits: digits, useGrouping: false });
}

function filled(text, values) {
	return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
}
