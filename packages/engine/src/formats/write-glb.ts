import type { RunContext } from '../base/index.ts';
import { textBytes } from './ascii.ts';
import { type ByteSink, ByteWriter, type WriteSummary } from './byte-sink.ts';
import { checkSurfaceOutput, coordinateRange, float32Rounding, type SurfaceOutput } from './surface-output.ts';

const MAGIC = 0x46546c67;
const JSON_CHUNK = 0x4e4f534a;
const BINARY_CHUNK = 0x004e4942;
const FLOAT = 5126;
const UNSIGNED_INT = 5125;
const UNSIGNED_SHORT = 5123;
const ARRAY_BUFFER = 34962;
const ELEMENT_ARRAY_BUFFER = 34963;
/** A GLB states its length in 32 bits. */
const LONGEST_FILE = 0xffffffff;

/**
 * Writes a binary glTF 2.0: one mesh, or points, in metres with +Y up.
 *
 * Frames   (x, y, z) mm with Z up becomes (x, z, -y) / 1000; the origin stands in the node's translation, so that the
 *          vertices keep their precision.
 * Colours  glTF wants them linear, so sRGB is converted, to 16 bit.
 * Method   glTF 2.0 (ISO/IEC 12113), sections 3.6 and 3.7; minimum and maximum are those of the numbers as written.
 *          Uncertainty goes into the attribute `_UNCERTAINTY`, in metres.
 *
 * @throws RangeError when the surface does not hold together, has no points or needs more than 4 GiB
 */
export async function writeGlb(surface: SurfaceOutput, sink: ByteSink, context: RunContext): Promise<WriteSummary> {
  checkSurfaceOutput(surface);
  if (surface.positions.length === 0) throw new RangeError('A GLB needs at least one point.');
  const { origin } = surface;
  const parts = planParts(surface);
  const json = padded(textBytes(JSON.stringify(describe(parts, origin))), 32);
  const binaryBytes = parts.reduce((sum, part) => sum + part.count * part.width, 0);
  const total = 12 + 8 + json.length + 8 + binaryBytes;
  if (total > LONGEST_FILE) throw new RangeError('A GLB cannot be longer than 4 GiB; write a PLY instead.');
  const writer = new ByteWriter(sink);
  const { view } = writer;
  [MAGIC, 2, total, json.length, JSON_CHUNK].forEach((word, i) => {
    view.setUint32(4 * i, word, true);
  });
  writer.length = 20;
  await writer.block(json);
  if (!writer.hasRoom(8)) await writer.flush();
  view.setUint32(writer.length, binaryBytes, true);
  view.setUint32(writer.length + 4, BINARY_CHUNK, true);
  writer.length += 8;
  for (const part of parts) {
    for (let i = 0; i < part.count; i++) {
      if (!writer.hasRoom(part.width)) {
        await writer.flush();
        await context.checkpoint(writer.byteCount / total);
      }
      part.write(view, writer.length, i);
      writer.length += part.width;
    }
  }
  await writer.flush();
  return { byteCount: writer.byteCount, rounding: float32Rounding(coordinateRange(surface).halfExtent) };
}

/** One accessor with its own stretch of the buffer. */
interface Part {
  readonly attribute: string | null;
  readonly componentType: number;
  readonly type: string;
  readonly count: number;
  /** Bytes of one element. */
  readonly width: number;
  readonly normalized?: boolean;
  readonly min?: readonly number[];
  readonly max?: readonly number[];
  readonly write: (view: DataView, at: number, index: number) => void;
}

function planParts(surface: SurfaceOutput): Part[] {
  const { positions, normals, colors, triangles, uncertainty } = surface;
  const count = positions.length / 3;
  const { min, max } = bounds(positions);
  const parts: Part[] = [
    {
      attribute: 'POSITION',
      componentType: FLOAT,
      type: 'VEC3',
      count,
      width: 12,
      min,
      max,
      write: (view, at, i) => {
        view.setFloat32(at, positions[3 * i] / 1000, true);
        view.setFloat32(at + 4, positions[3 * i + 2] / 1000, true);
        view.setFloat32(at + 8, negated(positions[3 * i + 1]) / 1000, true);
      },
    },
  ];
  // A normal without direction is not allowed; where one is missing viewers make their own.
  if (normals && allHaveDirection(normals)) {
    parts.push({
      attribute: 'NORMAL',
      componentType: FLOAT,
      type: 'VEC3',
      count,
      width: 12,
      write: (view, at, i) => {
        const length = Math.sqrt(normals[3 * i] ** 2 + normals[3 * i + 1] ** 2 + normals[3 * i + 2] ** 2);
        view.setFloat32(at, normals[3 * i] / length, true);
        view.setFloat32(at + 4, normals[3 * i + 2] / length, true);
        view.setFloat32(at + 8, negated(normals[3 * i + 1]) / length, true);
      },
    });
  }
  if (colors) {
    const linear = linearTable();
    parts.push({
      attribute: 'COLOR_0',
      componentType: UNSIGNED_SHORT,
      type: 'VEC4',
      count,
      width: 8,
      normalized: true,
      write: (view, at, i) => {
        for (let k = 0; k < 3; k++) view.setUint16(at + 2 * k, linear[colors[3 * i + k]], true);
        view.setUint16(at + 6, 65535, true);
      },
    });
  }
  if (uncertainty?.every(Number.isFinite)) {
    parts.push({
      attribute: '_UNCERTAINTY',
      componentType: FLOAT,
      type: 'SCALAR',
      count,
      width: 4,
      write: (view, at, i) => view.setFloat32(at, uncertainty[i] / 1000, true),
    });
  }
  if (triangles && triangles.length > 0) {
    parts.push({
      attribute: null,
      componentType: UNSIGNED_INT,
      type: 'SCALAR',
      count: triangles.length,
      width: 4,
      write: (view, at, i) => view.setUint32(at, triangles[i], true),
    });
  }
  return parts;
}

/** The negative, but never -0. */
function negated(value: number): number {
  return value === 0 ? 0 : -value;
}

function bounds(positions: Float32Array): { readonly min: number[]; readonly max: number[] } {
  const min = [Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY];
  const max = min.map((value) => -value);
  for (let i = 0; i < positions.length; i += 3) {
    const turned = [
      Math.fround(positions[i] / 1000),
      Math.fround(positions[i + 2] / 1000),
      Math.fround(negated(positions[i + 1]) / 1000),
    ];
    for (let k = 0; k < 3; k++) {
      if (turned[k] < min[k]) min[k] = turned[k];
      if (turned[k] > max[k]) max[k] = turned[k];
    }
  }
  return { min, max };
}

function allHaveDirection(normals: Float32Array): boolean {
  for (let i = 0; i < normals.length; i += 3) {
    const square = normals[i] ** 2 + normals[i + 1] ** 2 + normals[i + 2] ** 2;
    if (!(square > 0 && Number.isFinite(square))) return false;
  }
  return true;
}

/** sRGB 8 bit to linear 16 bit (IEC 61966-2-1). */
function linearTable(): Uint16Array {
  return Uint16Array.from({ length: 256 }, (_, i) => {
    const value = i / 255;
    return Math.round(65535 * (value <= 0.04045 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4));
  });
}

function describe(parts: readonly Part[], origin: readonly [number, number, number]): object {
  let byteOffset = 0;
  const attributes: Record<string, number> = {};
  const bufferViews: object[] = [];
  const accessors: object[] = [];
  let indices: number | null = null;
  parts.forEach((part, i) => {
    const byteLength = part.count * part.width;
    bufferViews.push({
      buffer: 0,
      byteOffset,
      byteLength,
      target: part.attribute === null ? ELEMENT_ARRAY_BUFFER : ARRAY_BUFFER,
    });
    byteOffset += byteLength;
    accessors.push({
      bufferView: i,
      componentType: part.componentType,
      ...(part.normalized ? { normalized: true } : {}),
      count: part.count,
      type: part.type,
      ...(part.min ? { min: part.min, max: part.max } : {}),
    });
    if (part.attribute === null) indices = i;
    else attributes[part.attribute] = i;
  });
  return {
    asset: { version: '2.0', generator: 'Lapjoint' },
    scene: 0,
    scenes: [{ nodes: [0] }],
    nodes: [{ mesh: 0, translation: [origin[0] / 1000, origin[2] / 1000, negated(origin[1]) / 1000] }],
    meshes: [
      {
        primitives: [{ attributes, ...(indices === null ? { mode: 0 } : { indices, mode: 4, material: 0 }) }],
      },
    ],
    ...(indices === null
      ? {}
      : { materials: [{ pbrMetallicRoughness: { metallicFactor: 0, roughnessFactor: 0.9 }, doubleSided: true }] }),
    buffers: [{ byteLength: byteOffset }],
    bufferViews,
    accessors,
  };
}

/** Fills up to a multiple of four bytes. */
function padded(bytes: Uint8Array, filler: number): Uint8Array {
  const out = new Uint8Array(4 * Math.ceil(bytes.length / 4)).fill(filler);
  out.set(bytes);
  return out;
}
