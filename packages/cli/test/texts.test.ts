import { spawnSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { placesOf } from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';

const root = join(import.meta.dirname, '..', '..', '..');
const catalogueOf = (language: string): Record<string, string> =>
  JSON.parse(readFileSync(join(root, 'packages', 'cli', 'texts', `${language}.json`), 'utf8')).texts;
const run = spawnSync(process.execPath, [join(root, 'tools', 'extract-texts.mjs')], { cwd: root, encoding: 'utf8' });

describe('the catalogue of texts', () => {
  it('is complete and current; otherwise: node tools/extract-texts.mjs --write', () => {
    expect(`${run.stdout}${run.stderr}`).not.toContain('extract-texts.mjs --write');
    expect(run.status).toBe(0);
  });

  it('holds texts of help, errors, findings, progress and the report', () => {
    const texts = catalogueOf('en');
    for (const text of [
      'Read scans, target lists and probed points into a job.',
      'never ask anything',
      '{0=} is not a job folder.',
      'Nearly all normals point away from the instrument; they were reversed.',
      'preparing scans',
      'What was captured',
      'refused',
    ]) {
      expect(Object.keys(texts)).toContain(text);
    }
  });

  it('holds no codes, no examples and nothing of file formats', () => {
    const texts = Object.keys(catalogueOf('en'));
    expect(
      texts.filter((text) => /^lapjoint |^job-busy$|element vertex|binary_little_endian|<\/?\w+>/.test(text)),
    ).toEqual([]);
  });
});

describe('the German texts', () => {
  const texts = catalogueOf('en');
  const german = catalogueOf('de');

  it('are nearly complete: the missing ones are shown in English', () => {
    const missing = Object.keys(texts).filter((text) => !german[text]);
    const share = 1 - missing.length / Object.keys(texts).length;
    expect(share, `missing: ${missing.join(' | ')}; see node tools/extract-texts.mjs --missing de`).toBeGreaterThan(
      0.9,
    );
  });

  it('have the places of the English ones', () => {
    const numbers = (text: string): string => [...new Set(placesOf(text).map((place) => place.number))].sort().join();
    const wrong = Object.entries(german).filter(([text, translation]) => numbers(text) !== numbers(translation));
    expect(wrong).toEqual([]);
  });

  it('keep the numbers, options and standards that the English ones name', () => {
    // Options and standards word by word; numbers too, with a decimal comma where they are no input.
    const named = (text: string): string[] =>
      (text.match(/--[a-z]+(-[a-z]+)*|IEC \d+-\d+|ISO \d+|SHA-256|[A-Z]+_[A-Z]+/g) ?? []).sort();
    const wrong = Object.entries(german).filter(([text, shown]) => named(text).join() !== named(shown).join());
    expect(wrong).toEqual([]);
  });
});
