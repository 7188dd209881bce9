import { FormatError, type RunContext } from '../base/index.ts';
import { asciiText, isNumberText, parseNumber } from './ascii.ts';
import type { ByteReader } from './byte-reader.ts';
import { scaleColors } from './color-scale.ts';
import { FaceCollector } from './face-collector.ts';
import { finishRawScan } from './finish-raw-scan.ts';
import { LineReader } from './line-reader.ts';
import type { RawScan, ReadFindings } from './raw-scan.ts';
import { unitFromComment } from './stated-unit.ts';

const HASH = 35;

/**
 * Reads an OFF mesh: OFF, COFF (colours), NOFF (normals) and CNOFF, in text. Comments begin with `#`.
 *
 * @throws FormatError with the line
 */
export async function readOff(reader: ByteReader, findings: ReadFindings, context: RunContext): Promise<RawScan> {
  const lines = new LineReader(reader);
  const fail = (code: string, message: string): FormatError =>
    new FormatError(code, `${reader.name}, line ${lines.line}: ${message}`, 'The file is damaged; export it again.', {
      file: reader.name,
      line: lines.line,
    });
  let statedUnit: RawScan['statedUnit'] = null;
  const nextWords = async (): Promise<boolean> => {
    for (;;) {
      if (lines.next()) {
        if (lines.split(HASH) > 0) return true;
        const text = asciiText(lines.bytes, lines.start, Math.min(lines.end, lines.start + 200)).trim();
        if (text.startsWith('#')) statedUnit ??= unitFromComment(text.slice(1));
      } else if (!(await lines.more())) {
        return false;
      }
    }
  };
  const number = (word: number): number => {
    const start = lines.wordStarts[word];
    const end = lines.wordEnds[word];
    const value = parseNumber(lines.bytes, start, end);
    if (Number.isNaN(value) && !isNumberText(lines.bytes, start, end)) {
      throw fail('off-number-expected', `"${asciiText(lines.bytes, start, Math.min(end, start + 20))}" is no number.`);
    }
    return value;
  };
  await nextWords();
  const firstWord = asciiText(lines.bytes, lines.wordStarts[0], lines.wordEnds[0]).replace(/^\?{3}/, '');
  // The first count may follow without a blank.
  const keyword = /^[A-Za-z4]*OFF/.exec(firstWord)?.[0] ?? firstWord;
  if (/4|n|ST/.test(keyword)) throw fail('off-variant-unknown', `the variant ${keyword} is not read.`);
  const hasNormals = keyword.includes('N');
  let first = 1;
  if (firstWord.length > keyword.length) {
    lines.wordStarts[0] = lines.wordEnds[0] - (firstWord.length - keyword.length);
    first = 0;
  }
  if (lines.wordCount - first < 2) {
    if (
      lines.wordCount > 1 &&
      asciiText(lines.bytes, lines.wordStarts[1], lines.wordEnds[1]).toUpperCase() === 'BINARY'
    ) {
      throw fail('off-variant-unknown', 'binary OFF is not read.');
    }
    if (!(await nextWords())) throw fail('off-counts-missing', 'the counts are missing.');
    first = 0;
  }
  if (lines.wordCount - first < 2) throw fail('off-counts-missing', 'the counts are missing.');
  const pointsStated = number(first);
  const facesStated = number(first + 1);
  for (const count of [pointsStated, facesStated]) {
    if (!(Number.isInteger(count) && count >= 0 && count < 0xffffffff))
      throw fail('off-counts-invalid', 'no valid counts.');
  }
  const capacity = Math.min(pointsStated, Math.ceil(reader.bytesLeft / 6) + 1);
  const positions = new Float64Array(3 * capacity);
  const normals = hasNormals ? new Float32Array(3 * capacity) : null;
  let colors: Float32Array | null = null;
  const colorPlace = hasNormals ? 6 : 3;
  let points = 0;
  while (points < capacity && (await nextWords())) {
    if (!lines.terminated && facesStated > 0) break;
    if (lines.wordCount < colorPlace) throw fail('off-record-length', `a vertex needs ${colorPlace} numbers.`);
    for (let k = 0; k < 3; k++) positions[3 * points + k] = number(k);
    if (normals) for (let k = 0; k < 3; k++) normals[3 * points + k] = number(3 + k);
    if (keyword.includes('C') && lines.wordCount >= colorPlace + 3) {
      colors ??= new Float32Array(3 * capacity);
      for (let k = 0; k < 3; k++) colors[3 * points + k] = number(colorPlace + k);
    }
    if (++points % 20_000 === 0) await context.checkpoint(reader.fraction);
  }
  const faces = new FaceCollector(Math.min(facesStated, Math.ceil(reader.bytesLeft / 8) + 1));
  const corners: number[] = [];
  let faceCount = 0;
  while (points === pointsStated && faceCount < facesStated && (await nextWords())) {
    const count = number(0);
    if (!lines.terminated && lines.wordCount < count + 1) break;
    if (!(count >= 0) || lines.wordCount < count + 1) {
      throw fail('off-record-length', `a face with ${count} corners needs ${count + 1} numbers.`);
    }
    corners.length = 0;
    for (let i = 1; i <= count; i++) {
      const index = number(i);
      corners.push(index >= 0 && index < 0xffffffff ? index : 0xffffffff);
    }
    faces.addFace(corners, corners.length);
    if (++faceCount % 20_000 === 0) await context.checkpoint(reader.fraction);
  }
  if (points < pointsStated || faceCount < facesStated) {
    findings.add(
      'warning',
      'scan-truncated',
      `${reader.name} ends early: ${pointsStated - points} of ${pointsStated} points and ${facesStated - faceCount} of ${facesStated} faces are missing. What is complete was loaded.`,
      'Copy or export the file again.',
    );
  }
  return finishRawScan({
    name: reader.name,
    format: 'off',
    encoding: 'ascii',
    statedUnit,
    positions: positions.slice(0, 3 * points),
    normals: normals?.slice(0, 3 * points) ?? null,
    colors: colors && scaleColors(colors.slice(0, 3 * points), 'guess'),
    faces,
    pointsStated,
    facesStated,
    findings,
  });
}
