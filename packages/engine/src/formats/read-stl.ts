import { FormatError, type RunContext } from '../base/index.ts';
import { asciiText, isNumberText, parseNumber } from './ascii.ts';
import type { ByteReader } from './byte-reader.ts';
import { FaceCollector } from './face-collector.ts';
import { finishRawScan } from './finish-raw-scan.ts';
import { GrowingFloat64 } from './growing-array.ts';
import { LineReader } from './line-reader.ts';
import { countOf, type RawScan, type ReadFindings, type ReadScanOptions } from './raw-scan.ts';
import { VertexWelder } from './vertex-welder.ts';

/** Bytes before the first facet and of each facet of a binary STL. */
export const STL_HEADER_BYTES = 84;
export const STL_FACET_BYTES = 50;

/** More corners than this in an ascii facet are not taken for a polygon. */
const MOST_CORNERS = 100;

/**
 * Reads a binary STL: an 80-byte header, a count, 50 bytes a facet, little-endian. No units.
 *
 * Facets keep their order and all of them are kept, doubles and reversed doubles too: triangle i of the result is
 * facet i, and its three indices are the map from corners to welded vertices. Facet normals and attribute bytes are
 * not used, for the corners' order says the same.
 *
 * @throws FormatError when not one whole facet is there
 */
export async function readBinaryStl(
  reader: ByteReader,
  options: ReadScanOptions,
  findings: ReadFindings,
  context: RunContext,
): Promise<RawScan> {
  if ((await reader.fill(STL_HEADER_BYTES)) < STL_HEADER_BYTES) {
    throw new FormatError('scan-truncated', `${reader.name} ends inside the header.`, 'Copy or export it again.', {
      file: reader.name,
      byteOffset: reader.end,
    });
  }
  const stated = reader.view.getUint32(80, true);
  reader.start = STL_HEADER_BYTES;
  const present = Math.floor(reader.bytesLeft / STL_FACET_BYTES);
  const count = Math.min(stated, present);
  const faces = new FaceCollector(count);
  const indices = faces.triangles.values;
  const weld = options.weld !== 'none';
  // A closed mesh has half as many vertices as facets; room for more where that is too little comes by itself.
  await reader.fill(STL_FACET_BYTES);
  const welder = weld ? new VertexWelder(Math.ceil(0.55 * count) + 64, cellSize(reader, count)) : null;
  const loose = weld ? null : new Float32Array(9 * count);
  let done = 0;
  while (done < count) {
    const available = await reader.fill(STL_FACET_BYTES);
    const facets = Math.min(count - done, Math.floor(available / STL_FACET_BYTES));
    if (facets === 0) break;
    if (welder) weldFacets(reader.view, facets, welder, indices, 3 * done);
    else if (loose) copyFacets(reader.view, facets, loose, 9 * done);
    reader.start += facets * STL_FACET_BYTES;
    done += facets;
    await context.checkpoint(reader.fraction);
  }
  if (!welder) for (let i = 0; i < 3 * done; i++) indices[i] = i;
  faces.triangles.length = 3 * done;
  faces.faceCount = done;
  if (done < stated) {
    findings.add(
      'warning',
      'scan-truncated',
      `${reader.name} announces ${countOf(stated, 'facet')} but holds ${done}; what is complete was loaded.`,
      'Copy or export the file again; the mesh has a hole where the rest would be.',
    );
  } else if (reader.bytesLeft > 0) {
    findings.add(
      'warning',
      'scan-data-left-over',
      `${reader.name}: ${countOf(reader.bytesLeft, 'byte')} after the ${stated} facets that the header counts.`,
      'If the header counts less than the file holds, surface is missing; export again.',
    );
  }
  const positions = welder ? welder.takePositions() : (loose as Float32Array).subarray(0, 9 * done);
  return finish(reader.name, 'binary-little-endian', positions, faces, stated, welder !== null, findings);
}

/** Four times the middle edge of the first facets. */
function cellSize(reader: ByteReader, count: number): number {
  const { view } = reader;
  const facets = Math.min(count, 1000, Math.floor((reader.end - reader.start) / STL_FACET_BYTES));
  const edges = Float64Array.from({ length: facets }, (_, facet) => {
    const at = reader.start + facet * STL_FACET_BYTES + 12;
    const difference = (k: number): number => view.getFloat32(at + k, true) - view.getFloat32(at + 12 + k, true);
    return Math.hypot(difference(0), difference(4), difference(8));
  }).sort();
  return facets === 0 ? 0 : 4 * edges[facets >> 1];
}

function weldFacets(view: DataView, facets: number, welder: VertexWelder, indices: Uint32Array, first: number): void {
  let out = first;
  for (let facet = 0; facet < facets; facet++) {
    const at = facet * STL_FACET_BYTES + 12;
    for (let corner = 0; corner < 3; corner++) {
      const place = at + 12 * corner;
      indices[out + corner] = welder.index(
        view.getFloat32(place, true),
        view.getFloat32(place + 4, true),
        view.getFloat32(place + 8, true),
      );
    }
    out += 3;
  }
}

function copyFacets(view: DataView, facets: number, positions: Float32Array, first: number): void {
  let out = first;
  for (let facet = 0; facet < facets; facet++) {
    const at = facet * STL_FACET_BYTES + 12;
    for (let k = 0; k < 9; k++) positions[out++] = view.getFloat32(at + 4 * k, true);
  }
}

/**
 * Reads an ascii STL, one or several solids. Only the `vertex` lines between `facet` and `endfacet` count.
 *
 * @throws FormatError with the line
 */
export async function readAsciiStl(
  reader: ByteReader,
  options: ReadScanOptions,
  findings: ReadFindings,
  context: RunContext,
): Promise<RawScan> {
  const lines = new LineReader(reader);
  const faces = new FaceCollector();
  const vertices = new CornerStore(options.weld !== 'none');
  let inside = false;
  let ended = false;
  for (;;) {
    if (!lines.next()) {
      if (await lines.more()) continue;
      break;
    }
    if (lines.split() === 0) continue;
    const word = keyword(lines);
    if (word === 'vertex') {
      if (!lines.terminated) break;
      vertices.hold(lines);
    } else if (word === 'facet') {
      inside = true;
      vertices.release();
    } else if (word === 'endfacet') {
      inside = false;
      const corners = vertices.take();
      // A facet is a triangle; a few more corners are a polygon, thousands are damage.
      faces.addFace(corners, corners.length > MOST_CORNERS ? 0 : corners.length);
      if (faces.faceCount % 10_000 === 0) await context.checkpoint(reader.fraction);
    }
    ended = word === 'endsolid';
  }
  if (!ended) {
    findings.add(
      'warning',
      'scan-truncated',
      `${reader.name} ends without "endsolid" after ${countOf(faces.faceCount, 'whole facet')}${inside ? ', inside another one' : ''}; what is complete was loaded.`,
      'Copy or export the file again; the mesh may have a hole where the rest would be.',
    );
  }
  return finish(reader.name, 'ascii', vertices.positions(), faces, null, options.weld !== 'none', findings);
}

/** Vertices of an ascii file; those of a facet count only when the facet is whole. */
class CornerStore {
  readonly #welder: VertexWelder | null;
  readonly #loose: GrowingFloat64 | null;
  readonly #held: number[] = [];

  constructor(weld: boolean) {
    this.#welder = weld ? new VertexWelder(1024) : null;
    this.#loose = weld ? null : new GrowingFloat64();
  }

  /** Keeps the three numbers of a `vertex` line until its facet is whole. */
  hold(lines: LineReader): void {
    for (let k = 1; k <= 3; k++) {
      const start = k < lines.wordCount ? lines.wordStarts[k] : 0;
      const end = k < lines.wordCount ? lines.wordEnds[k] : 0;
      const value = parseNumber(lines.bytes, start, end);
      if (Number.isNaN(value) && !isNumberText(lines.bytes, start, end)) {
        throw new FormatError(
          'stl-number-expected',
          `${lines.reader.name}, line ${lines.line}: a vertex needs three numbers.`,
          'The file is damaged; export it again.',
          { file: lines.reader.name, line: lines.line },
        );
      }
      this.#held.push(value);
    }
  }

  release(): void {
    this.#held.length = 0;
  }

  /** Vertex indices of the corners held. */
  take(): number[] {
    const corners: number[] = [];
    for (let i = 0; i < this.#held.length; i += 3) {
      const [x, y, z] = this.#held.slice(i, i + 3);
      if (this.#welder) {
        corners.push(this.#welder.index(x, y, z));
      } else if (this.#loose) {
        corners.push(this.#loose.length / 3);
        for (const value of [x, y, z]) this.#loose.push(value);
      }
    }
    this.release();
    return corners;
  }

  positions(): Float32Array {
    return this.#welder ? this.#welder.takePositions() : Float32Array.from(this.#loose?.trimmed() ?? []);
  }
}

function keyword(lines: LineReader): string {
  const start = lines.wordStarts[0];
  return asciiText(lines.bytes, start, Math.min(lines.wordEnds[0], start + 12)).toLowerCase();
}

function finish(
  name: string,
  encoding: 'ascii' | 'binary-little-endian',
  positions: Float32Array,
  faces: FaceCollector,
  facesStated: number | null,
  welded: boolean,
  findings: ReadFindings,
): RawScan {
  const corners = faces.triangles.length;
  const cornersWelded = welded ? corners - positions.length / 3 : 0;
  if (welded && corners > 0) {
    findings.add(
      'note',
      'stl-welded',
      `${corners} corners joined into ${countOf(positions.length / 3, 'vertex', 'vertices')} by equal coordinates; no facet was merged or left out.`,
      'Nothing to do.',
    );
  }
  return finishRawScan({
    name,
    format: 'stl',
    encoding,
    statedUnit: null,
    positions,
    faces,
    pointsStated: facesStated === null ? null : 3 * facesStated,
    facesStated,
    cornersWelded,
    findings,
  });
}
