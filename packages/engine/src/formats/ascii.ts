// Bytes of text without a platform's decoder: everything the formats mean to say is ASCII.

const TAB = 9;
const LINE_FEED = 10;
const CARRIAGE_RETURN = 13;
const SPACE = 32;

/** Text of bytes; bytes beyond ASCII become `?`. For words and messages, not for bulk data. */
export function asciiText(bytes: Uint8Array, start = 0, end: number = bytes.length): string {
  let text = '';
  for (let i = start; i < end; i++) text += bytes[i] < 128 ? String.fromCharCode(bytes[i]) : '?';
  return text;
}

/** Text of UTF-8 bytes; broken sequences become U+FFFD. For names of targets and groups. */
export function utf8Text(bytes: Uint8Array, start = 0, end: number = bytes.length): string {
  let text = '';
  let i = start;
  while (i < end) {
    const lead = bytes[i];
    const extra = lead < 0x80 ? 0 : lead >> 5 === 6 ? 1 : lead >> 4 === 14 ? 2 : lead >> 3 === 30 ? 3 : -1;
    let code = extra <= 0 ? lead : lead & (0x3f >> extra);
    let valid = extra >= 0 && i + extra < end;
    for (let k = 1; valid && k <= extra; k++) {
      valid = bytes[i + k] >> 6 === 2;
      code = (code << 6) | (bytes[i + k] & 0x3f);
    }
    const tooLong = extra > 0 && code < [0, 0x80, 0x800, 0x10000][extra];
    if (!valid || tooLong || code > 0x10ffff || (code >= 0xd800 && code < 0xe000)) {
      text += '\ufffd';
      i++;
    } else {
      text += String.fromCodePoint(code);
      i += extra + 1;
    }
  }
  return text;
}

/** ASCII bytes of text; other characters are encoded as UTF-8. */
export function textBytes(text: string): Uint8Array {
  const out: number[] = [];
  for (const character of text) {
    const code = character.codePointAt(0) as number;
    if (code < 0x80) out.push(code);
    else if (code < 0x800) out.push(0xc0 | (code >> 6), 0x80 | (code & 63));
    else if (code < 0x10000) out.push(0xe0 | (code >> 12), 0x80 | ((code >> 6) & 63), 0x80 | (code & 63));
    else out.push(0xf0 | (code >> 18), 0x80 | ((code >> 12) & 63), 0x80 | ((code >> 6) & 63), 0x80 | (code & 63));
  }
  return Uint8Array.from(out);
}

/** Whether a byte separates words on a line. */
export function isBlank(byte: number): boolean {
  return byte === SPACE || byte === TAB || byte === CARRIAGE_RETURN || byte === 11 || byte === 12;
}

/**
 * Whether bytes look like text: no control characters except white space.
 * Bytes from 128 on count as text, since comments carry them in any encoding.
 */
export function looksLikeText(bytes: Uint8Array, start = 0, end: number = bytes.length): boolean {
  for (let i = start; i < end; i++) {
    const byte = bytes[i];
    if (byte < SPACE && !isBlank(byte) && byte !== LINE_FEED) return false;
    if (byte === 127) return false;
  }
  return true;
}

const POWERS_OF_TEN: readonly number[] = Array.from({ length: 23 }, (_, i) => Number('1e' + i));

/**
 * Reads one decimal number from bytes, rounded correctly to float64.
 *
 * Method   integer mantissa below 2^53 times or over an exact power of ten is one correctly rounded operation
 *          [Clinger90]; everything else goes through the platform's own conversion. `nan` and `inf` in any case are
 *          accepted, since scanners write them for missing samples.
 * @returns NaN also when the bytes are no number: tell the two apart with `isNumberText`
 */
export function parseNumber(bytes: Uint8Array, start: number, end: number): number {
  let i = start;
  let negative = false;
  if (i < end && (bytes[i] === 45 || bytes[i] === 43)) negative = bytes[i++] === 45;
  let mantissa = 0;
  let digits = 0;
  let scale = 0;
  const first = i;
  for (; i < end; i++) {
    const digit = bytes[i] - 48;
    if (digit < 0 || digit > 9) break;
    mantissa = mantissa * 10 + digit;
    if (mantissa > 0) digits++;
  }
  let seen = i - first;
  if (i < end && bytes[i] === 46) {
    const point = ++i;
    for (; i < end; i++) {
      const digit = bytes[i] - 48;
      if (digit < 0 || digit > 9) break;
      mantissa = mantissa * 10 + digit;
      if (mantissa > 0) digits++;
    }
    scale = point - i;
    seen += i - point;
  }
  if (seen === 0) return parseSpecial(bytes, first, end, negative);
  if (i < end && (bytes[i] | 32) === 101) {
    i++;
    let exponentNegative = false;
    if (i < end && (bytes[i] === 45 || bytes[i] === 43)) exponentNegative = bytes[i++] === 45;
    let exponent = 0;
    const exponentStart = i;
    for (; i < end; i++) {
      const digit = bytes[i] - 48;
      if (digit < 0 || digit > 9) break;
      if (exponent < 10000) exponent = exponent * 10 + digit;
    }
    if (i === exponentStart) return Number.NaN;
    scale += exponentNegative ? -exponent : exponent;
  }
  if (i !== end) return Number.NaN;
  let value: number;
  if (digits <= 15 && scale >= -22 && scale <= 22) {
    value = scale < 0 ? mantissa / POWERS_OF_TEN[-scale] : mantissa * POWERS_OF_TEN[scale];
  } else {
    value = Number(asciiText(bytes, first, end));
  }
  return negative ? -value : value;
}

function parseSpecial(bytes: Uint8Array, start: number, end: number, negative: boolean): number {
  if (end - start >= 3 && end - start <= 8) {
    const word = asciiText(bytes, start, end).toLowerCase();
    if (word === 'inf' || word === 'infinity') return negative ? Number.NEGATIVE_INFINITY : Number.POSITIVE_INFINITY;
  }
  return Number.NaN;
}

/** Whether bytes are a number or a word that stands for a missing or infinite one. */
export function isNumberText(bytes: Uint8Array, start: number, end: number): boolean {
  if (start >= end) return false;
  if (!Number.isNaN(parseNumber(bytes, start, end))) return true;
  const word = asciiText(bytes, start, Math.min(end, start + 12))
    .toLowerCase()
    .replace(/^[-+]/, '');
  return word === 'nan' || /^nan\([a-z0-9]*\)$/.test(word) || word === '1.#qnan' || word === '1.#ind';
}
