import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { AppError, localNumbers, makeCatalogue, placesOf, translate } from '../../src/base/index.ts';

const german = makeCatalogue({
  language: 'de',
  decimalSign: ',',
  texts: {
    'Run align.': 'align ausführen.',
    'not known': 'nicht bekannt',
    'one overlap': 'eine Überlappung',
    '{0} overlaps': '{0} Überlappungen',
    'lines falling': 'fallende Linien',
    'Held by {0*}.': 'Gehalten durch {0}.',
    'Found without a guess, {0} % ahead of the runner-up.': 'Ohne Vorgabe gefunden, {0} % vor der zweitbesten Stelle.',
    '{0=} holds {1} points.': '{1} Punkte sind in {0}.',
    '{0=} holds no points.': '{0} enthält keine Punkte.',
    'Session {0=} is in frame {1=}, not {2=}.': 'Sitzung {0} liegt in {1}, nicht {2}.',
    'stated uncertainty': 'angegebene Unsicherheit',
    'from above': 'von oben',
    and: 'und',
    'lines of it': 'Linien davon',
    '{0=} of {1=}': '{0} von {1}',
    '{0*} from {1}': '{0} aus {1}',
    '{0*} m from the tie': '{0} m von der Verknüpfung',
    'add {0}': '{0} hinzufügen',
  },
});

describe('translate', () => {
  it('translates whole texts, and leaves what it does not know', () => {
    expect(translate('Run align.', german)).toBe('align ausführen.');
    expect(translate('Run fuse.', german)).toBe('Run fuse.');
    expect(translate('Run align.', null)).toBe('Run align.');
    expect(translate('', german)).toBe('');
  });

  it('fills places in, in the order of the language', () => {
    expect(translate('door.ply holds 12 points.', german)).toBe('12 Punkte sind in door.ply.');
    expect(translate('Session a is in frame b, not c.', german)).toBe('Sitzung a liegt in b, nicht c.');
  });

  it('prefers the template that says more', () => {
    expect(translate('a holds no points.', german)).toBe('a enthält keine Punkte.');
  });

  it('never touches names, even those that are texts', () => {
    expect(translate('not known holds no points.', german)).toBe('not known enthält keine Punkte.');
    expect(translate('v1.25.ply holds no points.', german)).toBe('v1.25.ply enthält keine Punkte.');
    expect(translate('1.5 holds no points.', german)).toBe('1.5 enthält keine Punkte.');
  });

  it('translates texts within texts', () => {
    expect(translate('Held by one overlap.', german)).toBe('Gehalten durch eine Überlappung.');
    expect(translate('Held by 3 overlaps; one overlap.', german)).toBe(
      'Gehalten durch 3 Überlappungen; eine Überlappung.',
    );
  });

  it('takes several sentences apart rather than one with a long place', () => {
    expect(translate('Held by one overlap. Found without a guess, 61.5 % ahead of the runner-up.', german)).toBe(
      'Gehalten durch eine Überlappung. Ohne Vorgabe gefunden, 61,5 % vor der zweitbesten Stelle.',
    );
    expect(translate('Nobody knows this. Run align.', german)).toBe('Nobody knows this. align ausführen.');
  });

  it('keeps lines, columns, margins and remarks in brackets', () => {
    expect(translate('  Run align.\n\nnot known   one overlap\n', german)).toBe(
      '  align ausführen.\n\nnicht bekannt   eine Überlappung\n',
    );
    expect(translate('(lines falling)', german)).toBe('(fallende Linien)');
    expect(translate('stated uncertainty [mm]', german)).toBe('angegebene Unsicherheit [mm]');
    expect(translate('stated uncertainty, from above', german)).toBe('angegebene Unsicherheit, von oben');
    expect(translate('stated uncertainty, from below', german)).toBe('stated uncertainty, from below');
  });

  it('prefers known parts to a template of hardly any words, and to one whose place hides two texts', () => {
    expect(translate('stated uncertainty, lines falling, from above', german)).toBe(
      'angegebene Unsicherheit, fallende Linien, von oben',
    );
    expect(translate('2.5 m from the tie and 1.5 m from the tie', german)).toBe(
      '2,5 m von der Verknüpfung und 1,5 m von der Verknüpfung',
    );
    expect(translate('lines of it, from above', german)).toBe('Linien davon, von oben');
    expect(translate('0.076 mm (61), 0.11 mm (107)', german)).toBe('0,076 mm (61); 0,11 mm (107)');
  });

  it('does not take a sentence for the value of a template of one word', () => {
    const sentence = 'add the file again; the first one was cut off';
    expect(translate(sentence, german)).toBe(sentence);
  });
});

describe('numbers', () => {
  it.each([
    ['0.125', '0,125'],
    ['-12.5 mm', '-12,5 mm'],
    ['3.5e-7', '3,5e-7'],
    ['0.1 x 2.5 x 3.0 mm', '0,1 x 2,5 x 3,0 mm'],
    // A comma cannot part numbers that have one.
    ['1.5, 2.5, 3.5', '1,5; 2,5; 3,5'],
    ['12.346 mm ± 0.008 mm (k = 2)', '12,346 mm ± 0,008 mm (k = 2)'],
    // No numbers: versions, names, dates, addresses, commands.
    ['0.1.0', '0.1.0'],
    ['scan 1.5', 'scan 1.5'],
    ['2026-11-25', '2026-11-25'],
    ['127.0.0.1', '127.0.0.1'],
    ['--resolution 0.5', '--resolution 0.5'],
  ])('%s is shown as %s', (text, shown) => {
    expect(localNumbers(text, german)).toBe(shown);
  });

  it('stay with a point where the language has one', () => {
    const british = makeCatalogue({ language: 'en-GB', decimalSign: '.', texts: {} });
    expect(localNumbers('0.125 mm, 1.5 mm', british)).toBe('0.125 mm, 1.5 mm');
  });
});

describe('makeCatalogue', () => {
  it.each([
    null,
    {},
    { language: 'Deutsch!', texts: {} },
    { language: 'de' },
    { language: 'de', texts: { a: 1 } },
    { language: 'de', texts: { '{0} and {1=}': '{0} und' } },
    { language: 'de', texts: { 'no place': '{0}' } },
  ])('refuses %j', (document) => {
    expect(() => makeCatalogue(document)).toThrow(AppError);
  });

  it('takes empty translations as missing', () => {
    expect(translate('a b', makeCatalogue({ language: 'de', texts: { 'a b': '' } }))).toBe('a b');
  });
});

describe('the German catalogue', () => {
  const path = join(import.meta.dirname, '..', '..', '..', 'cli', 'texts', 'de.json');
  const { language, decimalSign, texts } = JSON.parse(readFileSync(path, 'utf8')) as {
    language: string;
    decimalSign: string;
    texts: Record<string, string>;
  };
  const catalogue = makeCatalogue({ language, decimalSign, texts });

  it('finds every text and every template with filled places again', () => {
    const wrong: string[] = [];
    for (const [text, translation] of Object.entries(texts)) {
      const value = (number: string): string => `q${number}z`;
      const filled = text.replace(/\{(\d+)[*=]?\}/g, (_, number) => value(number));
      const wanted = translation.replace(/\{(\d+)\}/g, (_, number) => value(number));
      const shown = translate(filled, catalogue);
      if (shown !== wanted) wrong.push(`${filled} | ${shown} | ${wanted}`);
    }
    expect(wrong).toEqual([]);
    expect(Object.keys(texts).filter((text) => placesOf(text).length > 0).length).toBeGreaterThan(200);
  });
});
