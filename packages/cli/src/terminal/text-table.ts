import { NAME_COLUMNS, type TextCatalogue, translate } from '@lapjoint/engine';

// A table stays cells until it is shown, since translated words have other widths. These characters occur in no text.
const HEAD = '\u001d';
const ROW = '\u001e';
const CELL = '\u001f';

/** Control characters in a name would only hide what it is. */
function cellText(text: string): string {
  // biome-ignore lint/suspicious/noControlCharactersInRegex: they are what is looked for
  return text.replace(/[\u0000-\u001f]/g, '\ufffd');
}

/** A table of texts, to be shown by `shownText`. */
export function textTable(head: readonly string[], rows: readonly (readonly string[])[]): string {
  const line = (mark: string, cells: readonly string[]): string => `${mark}${cells.map(cellText).join(CELL)}\n`;
  return line(HEAD, head) + rows.map((row) => line(ROW, row)).join('');
}

/** Columns two blanks apart, each as wide as its widest entry. Columns of names are not translated. */
function laidOut(lines: readonly string[], catalogue: TextCatalogue | null): string[] {
  const [head = [], ...rows] = lines.map((line) => line.slice(1).split(CELL));
  const isName = head.map((title) => NAME_COLUMNS.has(title.toLowerCase()));
  const all = [
    head.map((title) => translate(title, catalogue)),
    ...rows.map((row) => row.map((cell, column) => (isName[column] ? cell : translate(cell, catalogue)))),
  ];
  const widths = head.map((_, column) => Math.max(...all.map((row) => (row[column] ?? '').length)));
  return all.map((row) =>
    head
      .map((_, column) => (row[column] ?? '').padEnd(widths[column] ?? 0))
      .join('  ')
      .trimEnd(),
  );
}

/** A text with its tables, as it is shown: translated and laid out. */
export function shownText(text: string, catalogue: TextCatalogue | null = null): string {
  const out: string[] = [];
  const lines = text.split('\n');
  for (let i = 0; i < lines.length; ) {
    const line = lines[i] as string;
    const at = line.indexOf(HEAD);
    if (at < 0) {
      out.push(translate(line, catalogue));
      i++;
      continue;
    }
    let end = i + 1;
    while (lines[end]?.startsWith(ROW)) end++;
    const lead = translate(line.slice(0, at), catalogue);
    const [first = '', ...rest] = laidOut([line.slice(at), ...lines.slice(i + 1, end)], catalogue);
    out.push(lead + first, ...rest);
    i = end;
  }
  return out.join('\n');
}
