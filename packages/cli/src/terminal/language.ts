import { readdirSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { AppError, FormatError, makeCatalogue, type TextCatalogue, translate } from '@lapjoint/engine';
import { Help } from 'commander';

/** The catalogues lie beside the sources and the build alike. */
const FOLDER = fileURLToPath(new URL('../../texts/', import.meta.url));

type Environment = Readonly<Record<string, string | undefined>>;

/** Value of an option in the words of a command line; it has to be known before they are parsed, for help and errors. */
function optionValue(words: readonly string[], option: string): string | null {
  const end = words.indexOf('--');
  const before = end < 0 ? words : words.slice(0, end);
  const joined = before.findLast((word) => word.startsWith(`${option}=`));
  if (joined !== undefined) return joined.slice(option.length + 1);
  const at = before.lastIndexOf(option);
  return at < 0 ? null : (before[at + 1] ?? null);
}

/** `de_AT.UTF-8@euro` as `de-AT`; the C locale, which is English here, as `en`. */
function tagOf(locale: string): string {
  const [tag = ''] = locale.split(/[.@]/);
  return /^(C|POSIX)$/.test(tag) ? 'en' : tag.replace('_', '-');
}

/**
 * Languages that the environment asks for, best first: LC_ALL, else LC_MESSAGES, else LANG (POSIX.1-2017, 8.2), and before
 * them the list LANGUAGE unless they name the C locale (as gettext does).
 */
export function languagesOf({ LANGUAGE, LC_ALL, LC_MESSAGES, LANG }: Environment): string[] {
  const locale = [LC_ALL, LC_MESSAGES, LANG].find((value) => value !== undefined && value !== '');
  const tag = locale === undefined ? null : tagOf(locale);
  if (locale !== undefined && tag === 'en' && /^(C|POSIX)/.test(locale)) return ['en'];
  const listed = (LANGUAGE ?? '').split(':').filter((item) => item !== '');
  return [...listed.map(tagOf), ...(tag === null ? [] : [tag])];
}

/** Languages that there are texts for; English needs none. */
export function knownLanguages(): string[] {
  const files = readdirSync(FOLDER).filter((file) => /^[a-z]{2,3}(-\w+)*\.json$/.test(file) && file !== 'en.json');
  return ['en', ...files.map((file) => file.slice(0, -'.json'.length))].sort();
}

/** The known language that fits a tag: itself, or without its region. */
function fitting(tag: string, known: readonly string[]): string | undefined {
  const wanted = tag.toLowerCase();
  return (
    known.find((language) => language.toLowerCase() === wanted) ??
    known.find((language) => language === wanted.split('-')[0])
  );
}

function readCatalogue(path: string): TextCatalogue {
  try {
    return makeCatalogue(JSON.parse(readFileSync(path, 'utf8')));
  } catch (error) {
    if (error instanceof AppError) throw new FormatError(error.code, error.message, error.hint, { file: path });
    throw new FormatError(
      'catalogue-invalid',
      `${path} cannot be read as a catalogue of texts.`,
      'See docs/translating.md for the form of a catalogue.',
      { file: path },
    );
  }
}

/**
 * The catalogue to show texts with: that of `--texts FILE`, of `--language`, or of the first language of the environment
 * that there is one for. Null for English.
 *
 * @throws AppError `wrong-usage` for a language without texts; FormatError `catalogue-invalid`
 */
export function chosenCatalogue(words: readonly string[], environment: Environment): TextCatalogue | null {
  const file = optionValue(words, '--texts');
  if (file !== null) return readCatalogue(file);
  const stated = optionValue(words, '--language');
  const known = knownLanguages();
  if (stated !== null) {
    const language = fitting(tagOf(stated), known);
    if (language === undefined) {
      throw new AppError(
        'wrong-usage',
        `There are no texts in the language ${stated}.`,
        `Known are ${known.join(', ')}; --texts names a catalogue of your own.`,
      );
    }
    return language === 'en' ? null : readCatalogue(`${FOLDER}${language}.json`);
  }
  const language = languagesOf(environment)
    .map((tag) => fitting(tag, known))
    .find((item) => item !== undefined);
  return language === undefined || language === 'en' ? null : readCatalogue(`${FOLDER}${language}.json`);
}

/** Help of the command line in the language of a catalogue. */
export function translatedHelp(catalogue: TextCatalogue | null): Partial<Help> {
  const plain = new Help();
  const shown = (text: string): string => translate(text, catalogue);
  return {
    styleTitle: shown,
    commandDescription: (command) => shown(plain.commandDescription(command)),
    subcommandDescription: (command) => shown(plain.subcommandDescription(command)),
    optionDescription: (option) => shown(plain.optionDescription(option)),
    argumentDescription: (argument) => shown(plain.argumentDescription(argument)),
  };
}
