import type { LengthUnit } from '../model/index.ts';

const UNIT_WORDS: Readonly<Record<string, LengthUnit>> = {
  mm: 'mm',
  millimeter: 'mm',
  millimeters: 'mm',
  millimetre: 'mm',
  millimetres: 'mm',
  cm: 'cm',
  centimeter: 'cm',
  centimeters: 'cm',
  centimetre: 'cm',
  centimetres: 'cm',
  m: 'm',
  meter: 'm',
  meters: 'm',
  metre: 'm',
  metres: 'm',
  in: 'in',
  inch: 'in',
  inches: 'in',
  ft: 'ft',
  foot: 'ft',
  feet: 'ft',
  um: 'um',
  micron: 'um',
  microns: 'um',
  micrometer: 'um',
  micrometers: 'um',
  micrometre: 'um',
  micrometres: 'um',
};

/** Length unit of a word such as `mm`, `inch` or `metres`, in any case; null for anything else. */
export function lengthUnitFromWord(word: string): LengthUnit | null {
  const key = word.toLowerCase();
  return Object.hasOwn(UNIT_WORDS, key) ? UNIT_WORDS[key] : null;
}

/** A longer comment says more than a unit; also bounds the search below. */
const LONGEST_STATEMENT = 80;

/**
 * Length unit that a comment states, such as `unit: mm`, `units mm`, `length unit = inch`; null when it states none.
 *
 * Only a comment that says nothing else counts, so that a sentence with the word unit in it does not.
 */
export function unitFromComment(comment: string): LengthUnit | null {
  if (comment.length > LONGEST_STATEMENT) return null;
  const match =
    /^\s*(?:length[ _-]?)?units?\s*[:=]?\s+([a-z]+)\s*\.?\s*$|^\s*(?:length[ _-]?)?units?[:=]([a-z]+)\s*\.?\s*$/i.exec(
      comment,
    );
  return match ? lengthUnitFromWord(match[1] ?? match[2]) : null;
}
