import { localNumbers, NAME_COLUMNS, type TextCatalogue, translate } from '../base/index.ts';
import { escapeHtml } from './escape-html.ts';

/** Attributes that people read or hear. */
const SHOWN_ATTRIBUTES: ReadonlySet<string> = new Set(['alt', 'title', 'aria-label', 'data-pattern', 'placeholder']);
/** What stands in these is no text: styles, commands, hashes. */
const OPAQUE: ReadonlySet<string> = new Set(['style', 'script', 'pre', 'code', 'h1']);
/** Elements without an end. */
const VOID: ReadonlySet<string> = new Set(['meta', 'br', 'img', 'link', 'hr', 'input', 'wbr', 'col']);
const NAMED: Readonly<Record<string, string>> = {
  amp: '&',
  lt: '<',
  gt: '>',
  quot: '"',
  nbsp: '\u00a0',
  thinsp: '\u2009',
};

function decoded(html: string): string {
  return html.replace(/&(?:#(\d+)|#x([0-9a-f]+)|([a-z]+));/gi, (entity, decimal, hexadecimal, name) => {
    if (decimal !== undefined) return String.fromCodePoint(Number(decimal));
    if (hexadecimal !== undefined) return String.fromCodePoint(Number.parseInt(hexadecimal, 16));
    return NAMED[name as string] ?? entity;
  });
}

/**
 * The report in another language: texts and the attributes that are read or heard, the `lang` of the page, and the decimal
 * sign of the numbers shown. Names, commands, hashes and drawings stay. What the catalogue does not know stays English.
 *
 * @param html a page made by `renderReport`
 */
export function translateReport(html: string, catalogue: TextCatalogue | null): string {
  if (catalogue === null) return html;
  const open: string[] = [];
  let heads: string[] = [];
  let column = -1;
  let label = '';
  const show = (text: string): string => {
    const plain = decoded(text);
    const core = plain.trim();
    if (core === '') return text;
    const shown = translate(core, catalogue);
    return shown === core ? text : escapeHtml(plain.replace(core, () => shown));
  };
  const tag = (source: string): string => {
    const [, end, name = ''] = /^<(\/?)([a-zA-Z][\w-]*)/.exec(source) ?? [];
    const element = name.toLowerCase();
    if (element === '') return source;
    if (element === 'table' && end === '') heads = [];
    if (element === 'tr') column = -1;
    if ((element === 'td' || element === 'th') && end === '') {
      column++;
      label = '';
    }
    if (end === '/') {
      const at = open.lastIndexOf(element);
      if (at >= 0) open.length = at;
    } else if (!VOID.has(element) && !source.endsWith('/>')) open.push(element);
    const named = element === 'html' ? source.replace(/\blang="[^"]*"/, `lang="${catalogue.language}"`) : source;
    return named.replace(/\s([\w-]+)="([^"]*)"/g, (attribute, key: string, value: string) =>
      SHOWN_ATTRIBUTES.has(key) && !open.includes('code') ? ` ${key}="${show(value)}"` : attribute,
    );
  };
  const text = (source: string): string => {
    const core = decoded(source).trim();
    if (core === '' || open.some((element) => OPAQUE.has(element))) return source;
    if (open.includes('th')) heads[column] = `${heads[column] ?? ''} ${core}`.trim();
    if (open.includes('b')) label = core.toLowerCase();
    const inCell = open.includes('td');
    const holdsName = inCell && !open.includes('b') && NAME_COLUMNS.has((heads[column] ?? '').toLowerCase());
    if (holdsName || (inCell && !open.includes('b') && label === 'job')) return source;
    return /^[\d.,\s]+$/.test(core) ? localNumbers(source, catalogue) : show(source);
  };
  return html.replace(/<[^>]*>|[^<]+/g, (part) => (part.startsWith('<') ? tag(part) : text(part)));
}
