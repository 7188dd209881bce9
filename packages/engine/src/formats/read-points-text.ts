import { FormatError, type RunContext } from '../base/index.ts';
import type { LengthUnit } from '../model/index.ts';
import { asciiText, isBlank, parseNumber, utf8Text } from './ascii.ts';
import type { ByteReader } from './byte-reader.ts';
import { scaleColors } from './color-scale.ts';
import { finishRawScan } from './finish-raw-scan.ts';
import { GrowingFloat64 } from './growing-array.ts';
import { LineReader } from './line-reader.ts';
import { assignPointColumns, type PointColumns } from './point-columns.ts';
import type { RawScan, ReadFindings } from './raw-scan.ts';
import { unitFromComment } from './stated-unit.ts';
import { detectTextLayout, fieldNumber, isCommentLine, splitFields, type TextLayout } from './text-table.ts';

/** Bytes at the start from which the layout of the columns is found. */
const SAMPLE_BYTES = 1 << 14;
const COMMA = 44;
const POINT = 46;

/**
 * Reads a cloud from columns of numbers: XYZ, CSV, TXT, ASC, PTS.
 *
 * Separator, decimal sign, header line and the meaning of the columns are found from the first lines (docs/formats);
 * lines that begin with `#`, `//` or `%` are comments.
 *
 * @throws FormatError with the line
 */
export async function readPointsText(
  reader: ByteReader,
  findings: ReadFindings,
  context: RunContext,
): Promise<RawScan> {
  const { layout, columns, statedUnit, pointsStated } = await surveyText(reader, findings);
  const lines = new LineReader(reader);
  const positions = new GrowingFloat64(3 * 4096);
  const normals = columns.normals ? new GrowingFloat64(3 * 4096) : null;
  const colors = columns.colors ? new GrowingFloat64(3 * 4096) : null;
  const needed = 1 + Math.max(...columns.positions, ...(columns.normals ?? []), ...(columns.colors ?? []));
  let torn = false;
  for (;;) {
    if (!lines.next()) {
      if (await lines.more()) continue;
      break;
    }
    if (lines.line <= layout.linesBefore) continue;
    if (lines.line % 20_000 === 0) await context.checkpoint(reader.fraction);
    const count = splitLine(lines, layout);
    if (count === 0) continue;
    if (count < needed) {
      if (!lines.terminated) {
        torn = true;
        break;
      }
      throw lineError(lines, `${needed} columns are expected, the line has ${count}.`);
    }
    for (const column of columns.positions) positions.push(readField(lines, column));
    if (normals && columns.normals) for (const column of columns.normals) normals.push(readField(lines, column));
    if (colors && columns.colors) for (const column of columns.colors) colors.push(readField(lines, column));
  }
  const points = positions.length / 3;
  if (torn || (pointsStated !== null && points < pointsStated)) {
    findings.add(
      'warning',
      'scan-truncated',
      torn
        ? `${reader.name} ends inside line ${lines.line}; the ${points} complete points were loaded.`
        : `${reader.name} announces ${pointsStated} points and holds ${points}.`,
      'Copy or export the file again.',
    );
  }
  return finishRawScan({
    name: reader.name,
    format: 'points-text',
    encoding: 'ascii',
    statedUnit,
    positions: positions.trimmed(),
    normals: normals && Float32Array.from(normals.trimmed()),
    colors: colors && scaleColors(Float32Array.from(colors.trimmed()), 'guess'),
    pointsStated,
    findings,
  });
}

interface TextSurvey {
  readonly layout: TextLayout;
  readonly columns: PointColumns;
  readonly statedUnit: LengthUnit | null;
  readonly pointsStated: number | null;
}

async function surveyText(reader: ByteReader, findings: ReadFindings): Promise<TextSurvey> {
  await reader.fill(SAMPLE_BYTES);
  const stop = Math.min(reader.end, reader.start + SAMPLE_BYTES);
  const whole = reader.atEnd && stop === reader.end;
  const sample = utf8Text(reader.bytes, reader.start, stop).split(/\r\n|\n|\r/);
  // The last line may be cut by the sample's end, or torn by the file's end.
  if (sample.length > 1 && !(whole && sample.length < 3)) sample.pop();
  let statedUnit: LengthUnit | null = null;
  for (const line of sample) {
    if (isCommentLine(line)) statedUnit ??= unitFromComment(line.replace(/^\s*(#|\/\/|%)+/, ''));
  }
  const layout = detectTextLayout(reader.name, sample, 3);
  const rows = sample
    .slice(layout.linesBefore)
    .filter((line) => !isCommentLine(line))
    .map((line) => splitFields(line, layout.separator).map((field) => fieldNumber(field, layout.decimalComma)));
  const { columns, unit } = assignPointColumns(layout, rows, reader.name, findings);
  return { layout, columns, statedUnit: statedUnit ?? unit, pointsStated: statedCount(sample, layout) };
}

/** A first line that is one whole number states how many points follow (PTS). */
function statedCount(sample: readonly string[], layout: TextLayout): number | null {
  const first = sample.slice(0, layout.linesBefore).find((line) => !isCommentLine(line));
  return first !== undefined && /^\s*\d+\s*$/.test(first) ? Number(first) : null;
}

/** Finds the fields of a data line. @returns 0 for a line without data */
function splitLine(lines: LineReader, layout: TextLayout): number {
  const { bytes } = lines;
  let at = lines.start;
  while (at < lines.end && isBlank(bytes[at])) at++;
  if (at === lines.end || bytes[at] === 35 || bytes[at] === 37) return 0;
  if (bytes[at] === 47 && bytes[at + 1] === 47) return 0;
  if (layout.decimalComma) {
    for (let i = at; i < lines.end; i++) if (bytes[i] === COMMA) bytes[i] = POINT;
  }
  return layout.separator === 'blank' ? lines.split() : lines.splitAt(layout.separator.charCodeAt(0));
}

function readField(lines: LineReader, column: number): number {
  const start = lines.wordStarts[column];
  const end = lines.wordEnds[column];
  const value = parseNumber(lines.bytes, start, end);
  if (Number.isNaN(value) && end > start) {
    const text = asciiText(lines.bytes, start, Math.min(end, start + 20));
    if (!/^[-+]?nan/i.test(text)) throw lineError(lines, `"${text}" is no number.`);
  }
  return value;
}

function lineError(lines: LineReader, message: string): FormatError {
  const { name } = lines.reader;
  return new FormatError(
    'text-line-invalid',
    `${name}, line ${lines.line}: ${message}`,
    'Correct the line or export again.',
    {
      file: name,
      line: lines.line,
    },
  );
}
