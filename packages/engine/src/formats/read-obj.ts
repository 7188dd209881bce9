import { FormatError, type RunContext } from '../base/index.ts';
import { asciiText, isNumberText, parseNumber } from './ascii.ts';
import type { ByteReader } from './byte-reader.ts';
import { scaleColors } from './color-scale.ts';
import { FaceCollector } from './face-collector.ts';
import { finishRawScan } from './finish-raw-scan.ts';
import { GrowingFloat64 } from './growing-array.ts';
import { LineReader } from './line-reader.ts';
import type { RawScan, ReadFindings } from './raw-scan.ts';
import { unitFromComment } from './stated-unit.ts';

const HASH = 35;
const SLASH = 47;
const BACKSLASH = 92;
const MINUS = 45;
const BAD_INDEX = 0xffffffff;

/**
 * Reads the points and faces of a Wavefront OBJ.
 *
 * Relative indices count back from the last vertex read before the face, so blocks of vertices and faces may alternate.
 * Faces of any number of corners, concave ones too, are cut into triangles. Colours behind the coordinates are read as
 * 0 to 1, or 0 to 255 when one exceeds 1. Normals are used where they belong to vertices one to one. A line may go on
 * after a backslash. Lines, free points, curves, groups, materials and texture coordinates are passed over.
 *
 * @throws FormatError with the line
 */
export async function readObj(reader: ByteReader, findings: ReadFindings, context: RunContext): Promise<RawScan> {
  const lines = new LineReader(reader);
  const state: ObjState = {
    lines,
    positions: new GrowingFloat64(3 * 1024),
    normals: new GrowingFloat64(3),
    colors: null,
    faces: new FaceCollector(),
    normalsFollowVertices: true,
    corners: [],
  };
  let statedUnit: RawScan['statedUnit'] = null;
  let passedOver = 0;
  for (;;) {
    if (!lines.next()) {
      if (await lines.more()) continue;
      break;
    }
    if (lines.end > lines.start && lines.bytes[lines.end - 1] === BACKSLASH && lines.bytes[lines.start] !== HASH) {
      await joinContinued(lines);
    }
    if (lines.line % 20_000 === 0) await context.checkpoint(reader.fraction);
    if (lines.split() === 0) continue;
    const start = lines.wordStarts[0];
    const length = lines.wordEnds[0] - start;
    const letter = lines.bytes[start];
    if (!lines.terminated && lines.wordCount < 4 && length === 1 && (letter === 118 || letter === 102)) {
      findings.add(
        'warning',
        'scan-truncated',
        `${reader.name} ends inside line ${lines.line}; what is complete was loaded.`,
        'Copy or export the file again; the end is missing.',
      );
      break;
    }
    if (letter === 118 && length === 1) addVertex(state);
    else if (letter === 118 && length === 2 && lines.bytes[start + 1] === 110) addNormal(state);
    else if (letter === 102 && length === 1) addFace(state);
    else if (letter === HASH)
      statedUnit ??= unitFromComment(asciiText(lines.bytes, start + 1, Math.min(lines.end, start + 200)));
    else if ((letter === 108 || letter === 112) && length === 1) passedOver++;
  }
  if (passedOver > 0) {
    findings.add('note', 'obj-lines-passed-over', `${passedOver} lines or free points are not used.`, 'Nothing to do.');
  }
  const { positions, normals, faces } = state;
  const useNormals = normals.length > 0 && normals.length === positions.length && state.normalsFollowVertices;
  if (normals.length > 0 && !useNormals) {
    findings.add(
      'note',
      'obj-normals-not-used',
      'The normals belong to corners, not to vertices, and are not used.',
      'Nothing to do; normals are found from the triangles.',
    );
  }
  const colors = state.colors;
  if (colors) while (colors.length < positions.length) colors.push(0);
  return finishRawScan({
    name: reader.name,
    format: 'obj',
    encoding: 'ascii',
    statedUnit,
    positions: positions.trimmed(),
    normals: useNormals ? Float32Array.from(normals.trimmed()) : null,
    colors: colors && scaleColors(Float32Array.from(colors.trimmed()), 'guess'),
    faces,
    pointsStated: null,
    findings,
  });
}

interface ObjState {
  readonly lines: LineReader;
  readonly positions: GrowingFloat64;
  readonly normals: GrowingFloat64;
  colors: GrowingFloat64 | null;
  readonly faces: FaceCollector;
  /** Every corner so far names the normal with its vertex's own number. */
  normalsFollowVertices: boolean;
  readonly corners: number[];
}

/** More lines than this joined into one are damage. */
const MOST_JOINED_LINES = 1000;

/** Puts the following lines behind a line that ends with a backslash, inside the reader's buffer. */
async function joinContinued(lines: LineReader): Promise<void> {
  const { reader } = lines;
  let joined = 0;
  while (lines.end > lines.start && lines.bytes[lines.end - 1] === BACKSLASH) {
    if (++joined > MOST_JOINED_LINES) throw fail(lines, 'text-line-too-long', 'too many lines are joined into one.');
    // Blank out the backslash and the line end, then take the longer line again from its first byte.
    for (let i = lines.end - 1; i < reader.start; i++) lines.bytes[i] = 32;
    reader.start = lines.start;
    while (!lines.next()) {
      if (!(await lines.more())) return;
    }
  }
}

function objNumber(lines: LineReader, word: number): number {
  const value = parseNumber(lines.bytes, lines.wordStarts[word], lines.wordEnds[word]);
  if (Number.isNaN(value) && !isNumberText(lines.bytes, lines.wordStarts[word], lines.wordEnds[word])) {
    throw fail(lines, 'obj-number-expected', 'a vertex or normal holds a word that is no number.');
  }
  return value;
}

function fail(lines: LineReader, code: string, message: string): FormatError {
  const { name } = lines.reader;
  return new FormatError(code, `${name}, line ${lines.line}: ${message}`, 'The file is damaged; export it again.', {
    file: name,
    line: lines.line,
  });
}

function addVertex(state: ObjState): void {
  const { lines, positions } = state;
  if (lines.wordCount < 4) throw fail(lines, 'obj-vertex-incomplete', 'a vertex needs three numbers.');
  for (let k = 1; k <= 3; k++) positions.push(objNumber(lines, k));
  // x y z r g b, or x y z w r g b; a lone fourth number is a weight.
  const colorStart = lines.wordCount === 7 ? 4 : lines.wordCount === 8 ? 5 : 0;
  if (colorStart > 0) {
    if (!state.colors) {
      state.colors = new GrowingFloat64(positions.values.length);
      while (state.colors.length < positions.length - 3) state.colors.push(0);
    }
    while (state.colors.length < positions.length - 3) state.colors.push(0);
    for (let k = 0; k < 3; k++) state.colors.push(objNumber(lines, colorStart + k));
  }
}

function addNormal(state: ObjState): void {
  for (let k = 1; k <= 3; k++) state.normals.push(k < state.lines.wordCount ? objNumber(state.lines, k) : 0);
}

function addFace(state: ObjState): void {
  const { lines, corners } = state;
  const vertexCount = state.positions.length / 3;
  const normalCount = state.normals.length / 3;
  corners.length = 0;
  for (let word = 1; word < lines.wordCount; word++) {
    const end = lines.wordEnds[word];
    let at = lines.wordStarts[word];
    const vertex = readIndex(lines.bytes, at, end, vertexCount);
    if (Number.isNaN(vertex)) {
      if (lines.bytes[at] === HASH) break;
      throw fail(lines, 'obj-index-expected', 'a face needs numbers of vertices.');
    }
    corners.push(vertex >= 0 && vertex < BAD_INDEX ? vertex : BAD_INDEX);
    for (let slashes = 0; at < end && slashes < 2; at++) if (lines.bytes[at] === SLASH) slashes++;
    if (at < end && readIndex(lines.bytes, at, end, normalCount) !== vertex) state.normalsFollowVertices = false;
  }
  state.faces.addFace(corners, corners.length);
}

/** Index from zero of a vertex number, counted from one, or back from the end when negative; NaN when it is no number. */
function readIndex(bytes: Uint8Array, start: number, end: number, count: number): number {
  let at = start;
  const negative = bytes[at] === MINUS;
  if (negative) at++;
  const first = at;
  let value = 0;
  for (; at < end; at++) {
    const digit = bytes[at] - 48;
    if (digit < 0 || digit > 9) break;
    value = value * 10 + digit;
  }
  if (at === first || (at < end && bytes[at] !== SLASH)) return Number.NaN;
  return negative ? count - value : value - 1;
}
