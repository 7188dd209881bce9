import { AppError } from './errors.ts';

/**
 * A language's texts. English stands in the code and in stored results; translation happens where a text is shown.
 *
 * Keys are English texts. A template has numbered places: `{0}` takes a value, `{0=}` a name that is never touched, and
 * `{0*}` another text, which is translated in turn. Translations write `{0}` for all of them, in any order.
 */
export interface TextCatalogue {
  /** BCP 47 tag of the language, such as `de`. */
  readonly language: string;
  /** Decimal sign of numbers that are shown. */
  readonly decimalSign: string;
  readonly exact: ReadonlyMap<string, string>;
  /** Templates by the rarest word of their fixed pieces, so that few are tried for a text. */
  readonly templates: ReadonlyMap<string, readonly TextTemplate[]>;
}

/** A text with places: `pieces[0] place[0] pieces[1] ...`. */
export interface TextTemplate {
  readonly pieces: readonly string[];
  readonly places: readonly TextPlace[];
  readonly translation: string;
  /** Characters that are fixed: of two templates that fit, the one with more is meant. */
  readonly fixedLength: number;
}

/** What stands in a place of a template. */
export interface TextPlace {
  readonly number: number;
  readonly kind: 'value' | 'name' | 'text';
}

/** Heads of table columns that hold names, in lower case: what stands in them stays, even if it is a word of the catalogue. */
export const NAME_COLUMNS: ReadonlySet<string> = new Set([
  'around',
  'between',
  'code',
  'file',
  'frame',
  'frames',
  'id',
  'list',
  'name',
  'path',
  'scan',
  'session',
  'sha-256',
  'target',
  'tie',
]);

const PLACE = /\{(\d+)([*=]?)\}/g;
const WORD = /[\p{L}\p{N}]+/gu;
/** A text within a text within a text; deeper nesting would only be an accident. */
const DEEPEST = 4;
/** Fixed characters below which a template could fit by chance. */
const WEAK_LENGTH = 9;
/** A value that happens to look like a text is translated only when this many of its characters are fixed. */
const SURE_LENGTH = 14;

/** Places of a text, in order. */
export function placesOf(text: string): TextPlace[] {
  return [...text.matchAll(PLACE)].map(([, number, mark]) => ({
    number: Number(number),
    kind: mark === '*' ? 'text' : mark === '=' ? 'name' : 'value',
  }));
}

function templateOf(text: string, translation: string): TextTemplate {
  const pieces = text.split(/\{\d+[*=]?\}/);
  return {
    pieces,
    places: placesOf(text),
    translation,
    fixedLength: pieces.reduce((sum, piece) => sum + piece.length, 0),
  };
}

/** Words of the fixed pieces that stand whole in every text that fits. */
function wholeWords(pieces: readonly string[]): string[] {
  return pieces.flatMap((piece, i) => {
    const words = [...piece.matchAll(WORD)];
    return words
      .filter(({ index, 0: word }) => {
        const touchesBefore = i > 0 && index === 0;
        const touchesAfter = i < pieces.length - 1 && index + word.length === piece.length;
        return !touchesBefore && !touchesAfter;
      })
      .map(([word]) => word);
  });
}

function indexed(templates: readonly TextTemplate[]): Map<string, TextTemplate[]> {
  const counts = new Map<string, number>();
  for (const { pieces } of templates) {
    for (const word of new Set(wholeWords(pieces))) counts.set(word, (counts.get(word) ?? 0) + 1);
  }
  const index = new Map<string, TextTemplate[]>();
  for (const template of templates) {
    // Without a whole word of its own a template is tried for every text.
    let rarest = '';
    for (const word of wholeWords(template.pieces)) {
      if (rarest === '' || (counts.get(word) ?? 0) < (counts.get(rarest) ?? 0)) rarest = word;
    }
    const list = index.get(rarest) ?? [];
    index.set(rarest, list);
    list.push(template);
  }
  return index;
}

/**
 * Reads a catalogue: `{"language": "de", "decimalSign": ",", "texts": {"English": "German", ...}}`.
 *
 * @param document parsed JSON
 * @throws AppError `catalogue-invalid` when it has another form, or the places of a translation are not those of its text
 */
export function makeCatalogue(document: unknown): TextCatalogue {
  const { language, decimalSign, texts } = (document ?? {}) as Record<string, unknown>;
  const fault = (message: string): AppError =>
    new AppError('catalogue-invalid', message, 'See docs/translating.md for the form of a catalogue.');
  if (typeof language !== 'string' || !/^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$/.test(language)) {
    throw fault('The catalogue of texts does not state its language.');
  }
  if (typeof texts !== 'object' || texts === null) throw fault(`The catalogue for ${language} holds no texts.`);
  const exact = new Map<string, string>();
  const templates: TextTemplate[] = [];
  for (const [text, translation] of Object.entries(texts)) {
    if (typeof translation !== 'string') throw fault(`The translation of "${text}" is no text.`);
    if (translation === '') continue;
    const places = placesOf(text);
    const wanted = [...new Set(places.map((place) => place.number))].sort().join();
    const given = [...new Set(placesOf(translation).map((place) => place.number))].sort().join();
    if (wanted !== given) throw fault(`The translation of "${text}" has other places than the text.`);
    if (places.length === 0) exact.set(text, translation);
    else templates.push(templateOf(text, translation));
  }
  return {
    language,
    decimalSign: typeof decimalSign === 'string' && decimalSign !== '' ? decimalSign : '.',
    exact,
    templates: indexed(templates),
  };
}

/** What stands in the places when the text fits; null otherwise. */
function fill({ pieces, places }: TextTemplate, text: string): string[] | null {
  const first = pieces[0] as string;
  const last = pieces.at(-1) as string;
  if (!text.startsWith(first) || !text.endsWith(last) || text.length < first.length + last.length) return null;
  const end = text.length - last.length;
  const values: string[] = [];
  let from = first.length;
  for (let i = 0; i < places.length; i++) {
    const piece = pieces[i + 1] as string;
    const at = i === places.length - 1 ? end : text.indexOf(piece, from);
    if (at < from || at > end) return null;
    values.push(text.slice(from, at));
    from = at + piece.length;
  }
  // Values do not run over several lines: that would be two texts. A template of few words takes only short values.
  const isWeak = first.length + last.length < WEAK_LENGTH && pieces.join('').length < WEAK_LENGTH;
  const isWrong = (value: string, i: number): boolean =>
    value.includes('\n') ||
    (isWeak && (/[.;:!?] |(?:\S+ ){4}/.test(value) || (places[i]?.kind === 'text' && /,( |$)/.test(value))));
  return values.some(isWrong) ? null : values;
}

function bestFit(
  text: string,
  catalogue: TextCatalogue,
): { readonly template: TextTemplate; readonly values: readonly string[] } | null {
  let best: { template: TextTemplate; values: string[] } | null = null;
  const words = new Set(['', ...(text.match(WORD) ?? [])]);
  for (const word of words) {
    for (const template of catalogue.templates.get(word) ?? []) {
      if (best !== null && template.fixedLength <= best.template.fixedLength) continue;
      const values = fill(template, text);
      if (values !== null) best = { template, values };
    }
  }
  return best;
}

const NUMBER = /(?<![\w.,])([-+]?\d+)\.(\d+)/g;
const UNITS =
  /\b(?:mm|cm|km|m|in|ft|um|deg|rad|ppm|s|min|h|kB|MB|GB|K|U|k|x|rms)\b|µm|°C?|%|[×±+\-–<>≤≥=()[\]/,;:\s\d.]|\u202f/g;

/**
 * A number as the language writes it: only the decimal sign changes, and only where the whole text is numbers and units,
 * so that no name, version or line of code is touched.
 */
export function localNumbers(text: string, catalogue: TextCatalogue): string {
  if (catalogue.decimalSign === '.' || !/\d\.\d/.test(text)) return text;
  const bare = text.replace(/\d+(?:\.\d+)?(?:e[-+]?\d+)?/g, ' ');
  if (/\d\.\d+\.\d/.test(text) || bare.replace(UNITS, '') !== '') return text;
  const shown = text.replace(NUMBER, `$1${catalogue.decimalSign}$2`);
  // A comma cannot part numbers that have a comma in them.
  return catalogue.decimalSign === ',' ? shown.replaceAll(', ', '; ') : shown;
}

function filled(template: TextTemplate, values: readonly string[], catalogue: TextCatalogue, depth: number): string {
  const shown = new Map<number, string>();
  template.places.forEach(({ number, kind }, i) => {
    const value = values[i] as string;
    shown.set(number, kind === 'name' ? value : placeText(value, kind === 'text', catalogue, depth + 1));
  });
  return template.translation.replace(PLACE, (_, number: string) => shown.get(Number(number)) ?? '');
}

function placeText(value: string, isText: boolean, catalogue: TextCatalogue, depth: number): string {
  if (value === '' || depth > DEEPEST) return value;
  if (isText) return within(value, catalogue, depth);
  const core = value.trim();
  if (core.length >= SURE_LENGTH && core.includes(' ')) {
    const known = catalogue.exact.get(core);
    if (known !== undefined) return value.replace(core, () => known);
    const fit = bestFit(core, catalogue);
    if (fit !== null && fit.template.fixedLength >= SURE_LENGTH) {
      return value.replace(core, () => filled(fit.template, fit.values, catalogue, depth));
    }
  }
  return localNumbers(value, catalogue);
}

const SENTENCE_END = /(?<=[.!?:]) (?=\S)/;
/** What parts texts in a row, and what stands between them when they are shown. */
const SEPARATORS: readonly (readonly [RegExp, string])[] = [
  [SENTENCE_END, ' '],
  [/; /, '; '],
  [/, /, ', '],
  [/ and /, ' and '],
];

/** The text taken apart at a separator of which every part is known; null when there is none. */
function knownParts(
  core: string,
  catalogue: TextCatalogue,
  depth: number,
  separators: typeof SEPARATORS = SEPARATORS,
): string | null {
  if (depth >= DEEPEST) return null;
  for (const [separator, glue] of separators) {
    const pieces = core.split(separator);
    if (pieces.length < 2) continue;
    const { text, isKnown } = runs(pieces, glue, catalogue, depth + 1);
    if (isKnown) return text;
  }
  return null;
}

/**
 * The translation of one whole text, or null.
 *
 * @param least fixed characters that a template must have
 */
function whole(core: string, catalogue: TextCatalogue, depth: number, least = 0): string | null {
  const known = catalogue.exact.get(core);
  if (known !== undefined) return known;
  const fit = bestFit(core, catalogue);
  if (fit !== null && fit.template.fixedLength >= least) {
    // A place that takes in the end of a sentence may hide two texts, which say more than one with a long place; and a
    // template of hardly any words says less than parts that are known.
    const hidesSentences = fit.values.some((value) => /[.!?] \S/.test(value));
    const parts =
      fit.template.fixedLength < WEAK_LENGTH
        ? knownParts(core, catalogue, depth)
        : hidesSentences
          ? knownParts(core, catalogue, depth, SEPARATORS.slice(0, 1))
          : null;
    return parts ?? filled(fit.template, fit.values, catalogue, depth);
  }
  const mark = core.at(-1);
  const unmarked = mark === ':' || mark === '.' ? catalogue.exact.get(core.slice(0, -1)) : undefined;
  return unmarked === undefined ? null : `${unmarked}${mark}`;
}

/** Several texts in a row: the longest runs of pieces that are known, the others as they are. */
function runs(
  pieces: readonly string[],
  glue: string,
  catalogue: TextCatalogue,
  depth: number,
): { readonly text: string; readonly isKnown: boolean } {
  const out: string[] = [];
  let isKnown = true;
  for (let i = 0; i < pieces.length; ) {
    let taken = 1;
    let shown: string | null = null;
    // Not all of them: that is the text that was not known.
    const most = Math.min(pieces.length - i, pieces.length - 1, 12);
    for (let count = most; count >= 1 && shown === null; count--) {
      // Several pieces are one text only when more than a word or two says so.
      shown = whole(pieces.slice(i, i + count).join(glue), catalogue, depth, count > 1 ? WEAK_LENGTH : 0);
      taken = count;
    }
    const piece = pieces[i] as string;
    // Numbers, units and axes are the same in all languages.
    if (shown === null && /\p{L}{2}/u.test(piece.replace(UNITS, ' '))) isKnown = false;
    out.push(shown ?? within(piece, catalogue, depth + 1));
    i += shown === null ? 1 : taken;
  }
  const shownGlue = glue === ' and ' ? ` ${catalogue.exact.get('and') ?? 'and'} ` : glue;
  return { text: out.join(shownGlue), isKnown };
}

function within(text: string, catalogue: TextCatalogue, depth: number): string {
  const core = text.trim();
  if (core === '' || depth > DEEPEST) return text;
  const lead = text.slice(0, text.indexOf(core));
  const tail = text.slice(lead.length + core.length);
  return `${lead}${shownCore(core, catalogue, depth)}${tail}`;
}

function shownCore(core: string, catalogue: TextCatalogue, depth: number): string {
  const known = whole(core, catalogue, depth);
  if (known !== null) return known;
  const numbers = localNumbers(core, catalogue);
  if (numbers !== core) return numbers;
  // A remark or a unit in brackets stands behind many texts.
  const [, before, bracket, inner = ''] = /^(.*?)\s?([([])([^()[\]]+)[)\]]$/.exec(core) ?? [];
  if (before !== undefined) {
    const remark = catalogue.exact.get(`(${inner})`)?.slice(1, -1) ?? within(inner, catalogue, depth + 1);
    const text = before === '' ? '' : `${whole(before, catalogue, depth) ?? before} `;
    return bracket === '(' ? `${text}(${remark})` : `${text}[${inner}]`;
  }
  const parts = knownParts(core, catalogue, depth);
  if (parts !== null) return parts;
  // Sentences stand for themselves; half a list in another language would be neither.
  const sentences = core.split(SENTENCE_END);
  return sentences.length > 1 ? runs(sentences, ' ', catalogue, depth).text : core;
}

/**
 * A text as it is shown in a language: the translation of the whole text, else of the template that fits it with its places
 * filled in, else of the sentences it consists of. What is not known stays English.
 *
 * Lines and columns (two blanks or more) are translated one by one. Without a catalogue the text is returned as it is.
 */
export function translate(text: string, catalogue: TextCatalogue | null): string {
  if (catalogue === null || text === '') return text;
  return text
    .split('\n')
    .map((line) => {
      const core = line.trim();
      if (core === '') return line;
      const lead = line.slice(0, line.indexOf(core));
      const tail = line.slice(lead.length + core.length);
      const known = whole(core, catalogue, 0);
      if (known !== null) return `${lead}${known}${tail}`;
      const columns = core.split(/(\s{2,})/);
      if (columns.length === 1) return `${lead}${shownCore(core, catalogue, 0)}${tail}`;
      const shown = columns.map((column, i) => (i % 2 === 1 ? column : shownCore(column, catalogue, 0)));
      return `${lead}${shown.join('')}${tail}`;
    })
    .join('\n');
}
