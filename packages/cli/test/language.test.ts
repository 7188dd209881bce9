import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { chosenCatalogue, languagesOf } from '../src/terminal/language.ts';
import { lapjoint } from './fixtures/recorded-console.ts';
import { BOX_POINTS, plyOf, temporaryFolder, writeInto } from './fixtures/small-scans.ts';

const folder = temporaryFolder();
const german = { environment: { LANG: 'de_DE.UTF-8' } };

describe('the language of the environment', () => {
  // POSIX.1-2017, Base Definitions 8.2: LC_ALL before LC_MESSAGES before LANG, empty as if not set. LANGUAGE as in gettext.
  it.each([
    [{}, []],
    [{ LANG: 'de_AT.UTF-8@euro' }, ['de-AT']],
    [{ LANG: 'de_DE', LC_MESSAGES: 'fr_FR' }, ['fr-FR']],
    [{ LANG: 'de_DE', LC_MESSAGES: 'fr_FR', LC_ALL: 'it' }, ['it']],
    [{ LANG: 'de_DE', LC_ALL: '' }, ['de-DE']],
    [{ LANG: 'en_GB', LANGUAGE: 'sv:de' }, ['sv', 'de', 'en-GB']],
    [{ LANG: 'C.UTF-8', LANGUAGE: 'de' }, ['en']],
    [{ LC_ALL: 'POSIX', LANG: 'de_DE' }, ['en']],
  ])('%j asks for %j', (environment, languages) => {
    expect(languagesOf(environment as Record<string, string>)).toEqual(languages);
  });

  it.each([
    [{ LANG: 'de_CH.UTF-8' }, 'de'],
    [{ LANG: 'xx_XX.UTF-8' }, undefined],
    [{ LANG: 'en_US.UTF-8' }, undefined],
    [{ LANGUAGE: 'xx:de', LANG: 'xx_XX' }, 'de'],
  ])('%j is shown in %s', (environment, language) => {
    expect(chosenCatalogue([], environment as Record<string, string>)?.language).toBe(language);
  });

  it('gives way to --language, and that to --texts', () => {
    const path = join(folder, 'fy.json');
    writeFileSync(path, JSON.stringify({ language: 'fy', decimalSign: ',', texts: { 'Usage:': 'Gebrûk:' } }));
    const environment = { LANG: 'de_DE' };
    expect(chosenCatalogue(['--language', 'en'], environment)).toBeNull();
    expect(chosenCatalogue(['show', 'x', '--language=de-CH'], {})?.language).toBe('de');
    expect(chosenCatalogue(['--language', 'de', '--texts', path], {})?.language).toBe('fy');
    expect(chosenCatalogue(['show', '--', '--language', 'en'], environment)?.language).toBe('de');
  });
});

describe('what people see', () => {
  it('is in their language: help, its parts, and wrong usage', async () => {
    const help = await lapjoint(['add', '--help'], null, german);
    expect(help.out).toContain('Beispiele:\n  lapjoint add cabin-job');
    expect(help.out).toContain('Aufruf: lapjoint add');
    expect(help.out).toContain('Scans, Zielmarkenlisten und angetastete Punkte in einen Auftrag lesen.');
    expect(help.out.replace(/\s+/g, ' ')).toContain('(zur Wahl: "mm",');
    const wrong = await lapjoint(['alin', 'x'], null, german);
    expect(wrong).toMatchObject({ exitCode: 2, out: '' });
    expect(wrong.error).toBe("Fehler: unbekannter Befehl 'alin'\n(Meinten Sie align?)\n");
    expect((await lapjoint(['add', '--help', '--language', 'en'], null, german)).out).toContain('Usage: lapjoint add');
  });

  it('is in their language: errors, findings, results, tables', async () => {
    const missing = await lapjoint(['show', join(folder, 'nothing')], null, german);
    expect(missing.exitCode).toBe(3);
    expect(missing.error).toMatch(/^Fehler: .*nothing ist kein Auftragsordner\.\n {2}was zu tun ist: Einen Auftrag/);
    expect(missing.error).toContain('Kennung: not-a-job');
    const job = join(folder, 'fixed');
    const made = await lapjoint(['new', job], null, german);
    expect(made.out).toMatch(/^Neuer Auftrag fixed in /);
    // Names stay, even if they are words of the catalogue.
    const box = writeInto(folder, 'used.ply', plyOf(BOX_POINTS));
    const added = await lapjoint(['add', job, box, '--unit', 'mm'], null, german);
    expect(added.out).toBe(
      'Hinzugefügt:\nid      Datei     Sitzung  Rahmen  Inhalt\nscan-1  used.ply  used     used    9 Punkte, 0 Dreiecke, Einheit mm\n',
    );
  });

  it('is not what programs read: --json and --events are English', async () => {
    const json = await lapjoint(['show', join(folder, 'nothing'), '--json'], null, german);
    expect(JSON.parse(json.out).error.message).toContain('is not a job folder.');
    const job = join(folder, 'events');
    await lapjoint(['new', job], null, german);
    const added = await lapjoint(['add', job, join(folder, 'absent.ply'), '--events', '--unit', 'mm'], null, german);
    expect(added.error).toContain('The file does not exist');
    for (const line of added.error.trimEnd().split('\n')) expect(() => JSON.parse(line)).not.toThrow();
  });

  it('is asked for in their language, and understood', async () => {
    const job = join(folder, 'asked');
    await lapjoint(['new', job], null, german);
    const box = writeInto(folder, 'unstated.ply', plyOf(BOX_POINTS));
    const left = await lapjoint(['add', job, box], ['nein'], german);
    expect(left.error).toContain('nennt seine Längeneinheit nicht.');
    expect(left.exitCode).toBe(3);
    const taken = await lapjoint(['add', job, box], ['quatsch', 'ja'], german);
    expect(taken.error).toContain('quatsch ist keines von mm, cm');
    expect(taken.exitCode).toBe(0);
  });
});

describe('the report', () => {
  it('is in their language, while what is stored stays the same', async () => {
    const job = join(folder, 'reported');
    await lapjoint(['new', job]);
    await lapjoint(['add', job, writeInto(folder, 'box.ply', plyOf(BOX_POINTS)), '--unit', 'mm']);
    const inEnglish = await lapjoint(['report', job, '--output', '-']);
    const inGerman = await lapjoint(['report', job, '--output', '-'], null, german);
    expect(inEnglish.out).toContain('<html lang="en">');
    expect(inGerman.out).toContain('<html lang="de">');
    expect(inGerman.out).toContain('>Was aufgenommen wurde</h2>');
    expect(inGerman.out).toContain('<td>box.ply</td>');
    const { texts } = JSON.parse(readFileSync(join(import.meta.dirname, '..', 'texts', 'en.json'), 'utf8'));
    const shown = [...inGerman.out.replace(/<style>.*?<\/style>/s, '').matchAll(/>([^<>]+)</g)].map(([, text]) => text);
    const left = shown.filter((text) => / /.test(text?.trim() ?? '') && (text ?? '').trim() in texts);
    expect(left).toEqual([]);
    expect((await lapjoint(['log', job, '--json'], null, german)).out).toContain('"add box.ply"');
  });
});

describe('a language that cannot be shown', () => {
  it('is wrong usage when it was asked for', async () => {
    const run = await lapjoint(['--help', '--language', 'xx']);
    expect(run).toMatchObject({ exitCode: 2, out: '' });
    expect(run.error).toContain('no texts in the language xx');
    expect(run.error).toContain('de, en');
  });

  it.each([
    ['absent', null],
    ['no JSON', '{'],
    ['without a language', '{"texts": {}}'],
    ['with lost places', '{"language": "de", "texts": {"{0=} is empty.": "leer"}}'],
  ])('is an invalid input when its file is %s', async (_, content) => {
    const path = join(folder, 'broken.json');
    if (content !== null) writeFileSync(path, content);
    const run = await lapjoint(['--help', '--texts', path]);
    expect(run).toMatchObject({ exitCode: 3, out: '' });
    expect(run.error).toContain('catalogue-invalid');
  });
});
