import { FormatError } from '../base/index.ts';
import { asciiText, looksLikeText } from './ascii.ts';
import type { ByteReader } from './byte-reader.ts';
import type { ScanFormat } from './raw-scan.ts';
import { STL_FACET_BYTES, STL_HEADER_BYTES } from './read-stl.ts';

/** Bytes looked at to tell a format. */
const HEAD_BYTES = 4096;

/** Starts of files that we can name but not read, so that the message can say what the file is. */
const OTHER_FORMATS: readonly { readonly start: string; readonly what: string }[] = [
  { start: 'PK\u0003\u0004', what: 'a zip archive, perhaps a 3MF' },
  { start: 'glTF', what: 'a glTF binary' },
  { start: 'ASTM-E57', what: 'an E57 file' },
  { start: 'LASF', what: 'a LAS or LAZ file' },
  { start: 'ISO-10303-21', what: 'a STEP file' },
  { start: '%PDF', what: 'a PDF' },
  { start: '\u001f\u008b', what: 'a gzip archive' },
  { start: '\u0089PNG', what: 'a picture' },
  { start: '\u00ff\u00d8', what: 'a picture' },
  { start: '<?xml', what: 'an XML file' },
];

/** Format by content, and whether it is the one that the name promises. */
export interface DetectedFormat {
  readonly format: ScanFormat;
  readonly binary: boolean;
  /** Format that the name's ending stands for; null for endings that we do not know. */
  readonly formatByName: ScanFormat | null;
}

const ENDINGS: Readonly<Record<string, ScanFormat>> = {
  ply: 'ply',
  stl: 'stl',
  stla: 'stl',
  stlb: 'stl',
  obj: 'obj',
  off: 'off',
  coff: 'off',
  noff: 'off',
  pcd: 'pcd',
  xyz: 'points-text',
  csv: 'points-text',
  txt: 'points-text',
  asc: 'points-text',
  pts: 'points-text',
};

/**
 * Tells which format a file has, by its content first and by its name only where the content leaves a choice.
 *
 * Nothing is consumed.
 *
 * @throws FormatError when the file is empty or of no format that we read
 */
export async function detectScanFormat(reader: ByteReader): Promise<DetectedFormat> {
  await reader.fill(HEAD_BYTES);
  const { name } = reader;
  const end = Math.min(reader.end, reader.start + HEAD_BYTES);
  if (end === reader.start) {
    throw new FormatError('file-empty', `${name} is empty.`, 'Copy or export the file again.', {
      file: name,
      byteOffset: 0,
    });
  }
  const ending = name.slice(name.lastIndexOf('.') + 1).toLowerCase();
  const formatByName = name.includes('.') && Object.hasOwn(ENDINGS, ending) ? ENDINGS[ending] : null;
  const found = formatByContent(reader, end, formatByName);
  if (found) return { ...found, formatByName };
  throw unknownFormat(reader, end);
}

function formatByContent(
  reader: ByteReader,
  end: number,
  formatByName: ScanFormat | null,
): { format: ScanFormat; binary: boolean } | null {
  const { bytes, start } = reader;
  const head = asciiText(bytes, start, end);
  if (/^ply[ \t]*[\r\n]/.test(head)) return { format: 'ply', binary: false };
  if (/^(#[^\n]*\n\s*)*VERSION\s/.test(head) && /\n\s*FIELDS\s/.test(head)) return { format: 'pcd', binary: false };
  if (/^(\?{3})?\s*(#[^\n]*\n\s*)*(ST)?C?N?4?n?OFF(\s|\d|$)/.test(head)) return { format: 'off', binary: false };
  const text = looksLikeText(bytes, start, end);
  const stl = stlKind(reader, end, head, text, formatByName === 'stl');
  if (stl) return { format: 'stl', binary: stl === 'binary' };
  if (!text) return null;
  if (looksLikeObj(head)) return { format: 'obj', binary: false };
  if (looksLikeColumns(head)) return { format: 'points-text', binary: false };
  if (formatByName === 'obj' && /^\s*(#|mtllib|o |g |s |usemtl)/m.test(head)) return { format: 'obj', binary: false };
  return null;
}

/**
 * Binary when the size is exactly 84 + 50 n, whatever the header says; text when "solid" begins it and the words of
 * an ascii file follow; binary also when the count and the name say so and the size does not (cut off, or padded).
 */
function stlKind(
  reader: ByteReader,
  end: number,
  head: string,
  text: boolean,
  namedStl: boolean,
): 'binary' | 'ascii' | null {
  const { start, size } = reader;
  const solid = /^\s*solid\b/i.test(head);
  const words = /\b(facet|endsolid|vertex)\b/i.test(head);
  if (end - start >= STL_HEADER_BYTES) {
    const count = reader.view.getUint32(start + 80, true);
    const exact = size !== null && size === STL_HEADER_BYTES + STL_FACET_BYTES * count;
    if (exact && !(text && solid && words)) return 'binary';
    if (text && solid) return words || namedStl ? 'ascii' : null;
    if (!text && (namedStl || solid) && count > 0) return 'binary';
    return null;
  }
  return solid && text && (words || namedStl) ? 'ascii' : null;
}

function looksLikeObj(head: string): boolean {
  return /^[ \t]*(v[ \t]+[-+.\d]|vn[ \t]|vt[ \t]|f[ \t]+-?\d|mtllib[ \t]|usemtl[ \t])/m.test(head);
}

const NUMBER_WORD = /^[-+]?(\d+|\d+\.\d*|\.\d+|nan|inf|infinity)(e[-+]?\d+)?$/i;

/** Whether a line holds three numbers next to each other; halves of numbers with a decimal comma are numbers too. */
function looksLikeColumns(head: string): boolean {
  return head.split(/\r\n|\n|\r/).some((line) => {
    let run = 0;
    for (const word of line.split(/[\s,;"]+/)) {
      run = NUMBER_WORD.test(word) ? run + 1 : 0;
      if (run === 3) return true;
    }
    return false;
  });
}

function unknownFormat(reader: ByteReader, end: number): FormatError {
  const { bytes, start, name } = reader;
  let raw = '';
  for (let i = start; i < Math.min(end, start + 16); i++) raw += String.fromCharCode(bytes[i]);
  const utf16 = /^(\u00ff\u00fe|\u00fe\u00ff|[\s\S]\0[\s\S]\0|\0[\s\S]\0[\s\S])/.test(raw);
  const known = OTHER_FORMATS.find(({ start: mark }) => raw.startsWith(mark));
  const what = known ? `is ${known.what}` : utf16 ? 'is text in UTF-16' : 'is of no format that is known here';
  return new FormatError(
    'scan-format-unknown',
    `${name} ${what}.`,
    utf16
      ? 'Save the text as UTF-8 or ASCII.'
      : 'Scans are read from PLY, STL, OBJ, OFF, PCD and columns of numbers (XYZ, CSV, TXT); export one of these.',
    { file: name, byteOffset: 0 },
  );
}
