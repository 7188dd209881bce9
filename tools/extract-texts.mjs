// Collects every text that people see from the sources into packages/cli/texts/en.json, with the files it stands in.
//   node tools/extract-texts.mjs           says whether the list is current, and how much each language covers
//   node tools/extract-texts.mjs --write   writes the list anew
//   node tools/extract-texts.mjs --prune de     takes out of a language what is no longer used
//   node tools/extract-texts.mjs --missing de   prints what a language lacks, as JSON to fill in
import { existsSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join, relative } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { extractTexts } from './collect-texts.mjs';

const root = fileURLToPath(new URL('..', import.meta.url));
const TEXTS_FOLDER = join(root, 'packages', 'cli', 'texts');
/** The file as it should be. */
function catalogueText(texts = extractTexts()) {
  return `${JSON.stringify({ language: 'en', decimalSign: '.', texts }, null, 2)}\n`;
}

/** Languages that there are texts for. */
function languages() {
  return readdirSync(TEXTS_FOLDER)
    .filter((file) => file.endsWith('.json') && file !== 'en.json')
    .map((file) => file.slice(0, -'.json'.length));
}

/** What a language has, lacks, and holds without need. */
function coverageOf(language, texts = extractTexts()) {
  const { texts: known } = JSON.parse(readFileSync(join(TEXTS_FOLDER, `${language}.json`), 'utf8'));
  const missing = Object.keys(texts).filter((text) => !known[text]);
  const obsolete = Object.keys(known).filter((text) => !(text in texts));
  return { count: Object.keys(texts).length, missing, obsolete };
}

/** A place that changes what it holds keeps its translation: only the mark in the English text is another. */
function carryOver(language, texts) {
  const file = join(TEXTS_FOLDER, `${language}.json`);
  const document = JSON.parse(readFileSync(file, 'utf8'));
  const unmarked = (text) => text.replace(/\{(\d+)[*=]\}/g, '{$1}');
  const known = new Map(Object.entries(document.texts).map(([text, translation]) => [unmarked(text), translation]));
  const found = Object.keys(texts).filter((text) => !document.texts[text] && known.has(unmarked(text)));
  if (found.length === 0) return;
  const all = Object.entries({
    ...document.texts,
    ...Object.fromEntries(found.map((text) => [text, known.get(unmarked(text))])),
  });
  const sorted = Object.fromEntries(all.sort(([a], [b]) => (a < b ? -1 : 1)));
  writeFileSync(file, `${JSON.stringify({ ...document, texts: sorted }, null, 2)}\n`);
}

function main(args) {
  const path = join(TEXTS_FOLDER, 'en.json');
  const texts = extractTexts();
  const wanted = catalogueText(texts);
  if (args[0] === '--missing') {
    const { missing } = coverageOf(args[1] ?? 'de', texts);
    process.stdout.write(`${JSON.stringify(Object.fromEntries(missing.map((text) => [text, ''])), null, 2)}\n`);
    return 0;
  }
  if (args[0] === '--prune') {
    const file = join(TEXTS_FOLDER, `${args[1]}.json`);
    const document = JSON.parse(readFileSync(file, 'utf8'));
    const kept = Object.entries(document.texts).filter(([text]) => text in texts);
    const sorted = Object.fromEntries(kept.sort(([a], [b]) => (a < b ? -1 : 1)));
    writeFileSync(file, `${JSON.stringify({ ...document, texts: sorted }, null, 2)}\n`);
  }
  const current = existsSync(path) && readFileSync(path, 'utf8').replaceAll('\r\n', '\n') === wanted;
  if (args[0] === '--write') {
    for (const language of languages()) carryOver(language, texts);
    if (!current) writeFileSync(path, wanted);
    process.stdout.write(`${Object.keys(texts).length} texts in ${relative(root, path)}\n`);
  } else if (!current)
    process.stdout.write('packages/cli/texts/en.json is not current: node tools/extract-texts.mjs --write\n');
  for (const language of languages()) {
    const { count, missing, obsolete } = coverageOf(language, texts);
    process.stdout.write(
      `${language}: ${count - missing.length} of ${count} texts, ${obsolete.length} no longer used\n`,
    );
  }
  return current || args[0] === '--write' ? 0 : 1;
}

if (process.argv[1] !== undefined && import.meta.url === pathToFileURL(process.argv[1]).href) {
  process.exitCode = main(process.argv.slice(2));
}
