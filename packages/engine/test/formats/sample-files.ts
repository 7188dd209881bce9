import { type FindingList, makeRunContext, type RunContext } from '../../src/base/index.ts';
import {
  type ByteSink,
  bytesInMemory,
  type RawScan,
  type ReadScanOptions,
  readScanFile,
} from '../../src/formats/index.ts';

export type Endian = 'little' | 'big';

/** Bytes put together from text and numbers. */
export class Bytes {
  readonly #parts: Uint8Array[] = [];

  text(text: string): this {
    this.#parts.push(new TextEncoder().encode(text));
    return this;
  }

  raw(...bytes: number[]): this {
    this.#parts.push(Uint8Array.from(bytes));
    return this;
  }

  number(
    kind: 'Int8' | 'Uint8' | 'Int16' | 'Uint16' | 'Int32' | 'Uint32' | 'Float32' | 'Float64',
    value: number,
    endian: Endian = 'little',
  ): this {
    const size = Number(/\d+/.exec(kind)?.[0]) / 8;
    const view = new DataView(new ArrayBuffer(size));
    const little = endian === 'little';
    if (kind === 'Int8') view.setInt8(0, value);
    else if (kind === 'Uint8') view.setUint8(0, value);
    else if (kind === 'Int16') view.setInt16(0, value, little);
    else if (kind === 'Uint16') view.setUint16(0, value, little);
    else if (kind === 'Int32') view.setInt32(0, value, little);
    else if (kind === 'Uint32') view.setUint32(0, value, little);
    else if (kind === 'Float32') view.setFloat32(0, value, little);
    else view.setFloat64(0, value, little);
    this.#parts.push(new Uint8Array(view.buffer));
    return this;
  }

  done(): Uint8Array {
    const out = new Uint8Array(this.#parts.reduce((sum, part) => sum + part.length, 0));
    let at = 0;
    for (const part of this.#parts) {
      out.set(part, at);
      at += part.length;
    }
    return out;
  }
}

/** A binary STL of triangles given as nine numbers each. */
export function binaryStl(
  header: string,
  triangles: readonly (readonly number[])[],
  stated = triangles.length,
): Uint8Array {
  const out = new Uint8Array(84 + 50 * triangles.length);
  out.set(new TextEncoder().encode(header.padEnd(80, ' ').slice(0, 80)));
  const view = new DataView(out.buffer);
  view.setUint32(80, stated, true);
  triangles.forEach((corners, i) => {
    corners.forEach((value, k) => {
      view.setFloat32(84 + 50 * i + 12 + 4 * k, value, true);
    });
  });
  return out;
}

/** Twelve triangles of the box from (0, 0, 0) to (1, 1, 1), outside to the front. */
export const BOX_TRIANGLES: readonly (readonly number[])[] = [
  [0, 2, 1, 0, 3, 2],
  [4, 5, 6, 4, 6, 7],
  [0, 1, 5, 0, 5, 4],
  [1, 2, 6, 1, 6, 5],
  [2, 3, 7, 2, 7, 6],
  [3, 0, 4, 3, 4, 7],
].flatMap((six) => {
  const corner = (i: number): number[] => {
    const [x, y] = [
      [0, 0],
      [1, 0],
      [1, 1],
      [0, 1],
    ][i % 4];
    return [x, y, i < 4 ? 0 : 1];
  };
  return [six.slice(0, 3).flatMap(corner), six.slice(3).flatMap(corner)];
});

export function quietContext(findings?: FindingList): RunContext {
  return makeRunContext(findings ? { findings } : {});
}

export function readBytes(name: string, content: Uint8Array | string, options: ReadScanOptions = {}): Promise<RawScan> {
  const bytes = typeof content === 'string' ? new TextEncoder().encode(content) : content;
  return readScanFile(bytesInMemory(name, bytes), options, quietContext());
}

/** A sink that keeps a copy of everything. */
export function collector(): { sink: ByteSink; bytes: () => Uint8Array } {
  const parts: Uint8Array[] = [];
  return {
    sink: async (chunk) => {
      parts.push(chunk.slice());
    },
    bytes: () => new Uint8Array(Buffer.concat(parts)),
  };
}

export function codesOf(scan: RawScan): string[] {
  return scan.findings.map(({ code }) => code);
}

/** Area of a mesh and six times its signed volume, in float64. */
export function areaAndVolume(positions: ArrayLike<number>, triangles: Uint32Array): { area: number; volume: number } {
  let area = 0;
  let volume = 0;
  for (let i = 0; i < triangles.length; i += 3) {
    const [a, b, c] = [0, 1, 2].map((k) => [0, 1, 2].map((axis) => positions[3 * triangles[i + k] + axis]));
    const u = b.map((value, k) => value - a[k]);
    const v = c.map((value, k) => value - a[k]);
    const n = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
    area += Math.hypot(...n) / 2;
    volume += (n[0] * a[0] + n[1] * a[1] + n[2] * a[2]) / 6;
  }
  return { area, volume };
}

/** Counts of a mesh's topology. */
export function topology(triangles: Uint32Array): {
  usedVertices: number;
  edges: number;
  boundaryEdges: number;
  nonManifoldEdges: number;
} {
  const uses = new Map<number, number>();
  const vertices = new Set<number>();
  for (let i = 0; i < triangles.length; i += 3) {
    for (let k = 0; k < 3; k++) {
      const a = triangles[i + k];
      const b = triangles[i + ((k + 1) % 3)];
      vertices.add(a);
      const key = Math.min(a, b) * 2 ** 26 + Math.max(a, b);
      uses.set(key, (uses.get(key) ?? 0) + 1);
    }
  }
  const counts = [...uses.values()];
  return {
    usedVertices: vertices.size,
    edges: counts.length,
    boundaryEdges: counts.filter((count) => count === 1).length,
    nonManifoldEdges: counts.filter((count) => count > 2).length,
  };
}
