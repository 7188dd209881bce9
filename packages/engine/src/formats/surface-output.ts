import type { Vec3 } from '../math/index.ts';

/**
 * Points or a mesh to be written. A ScanData is one.
 *
 * Units    mm; true coordinate = origin + position.
 */
export interface SurfaceOutput {
  readonly origin: Vec3;
  readonly positions: Float32Array;
  readonly normals?: Float32Array | null;
  /** sRGB, 8 bit a channel. */
  readonly colors?: Uint8Array | null;
  readonly triangles?: Uint32Array | null;
  /** Stated uncertainty of each vertex (expanded, k = 2), mm. */
  readonly uncertainty?: Float32Array | null;
  /** Share of each scan in each vertex, 0 to 1. */
  readonly provenance?: readonly { readonly scan: string; readonly share: Float32Array }[];
  /** Further numbers of each vertex by name (letters, digits, underscore). */
  readonly properties?: Readonly<Record<string, Float32Array>>;
}

/**
 * Checks that the parts of an output belong together.
 *
 * @throws RangeError when an array has the wrong length, holds a number that is not finite or an index out of range
 */
export function checkSurfaceOutput(surface: SurfaceOutput): void {
  const { positions, normals, colors, triangles, uncertainty } = surface;
  const count = positions.length / 3;
  const demand = (condition: boolean, message: string): void => {
    if (!condition) throw new RangeError(message);
  };
  demand(Number.isInteger(count), 'Positions come in threes.');
  demand(!normals || normals.length === 3 * count, 'There must be one normal a vertex.');
  demand(!colors || colors.length === 3 * count, 'There must be one colour a vertex.');
  demand(!uncertainty || uncertainty.length === count, 'There must be one uncertainty a vertex.');
  for (const { share } of surface.provenance ?? []) demand(share.length === count, 'There must be one share a vertex.');
  for (const [name, values] of Object.entries(surface.properties ?? {})) {
    demand(values.length === count, `There must be one ${name} a vertex.`);
    demand(/^[A-Za-z_][A-Za-z0-9_]*$/.test(name), `${name} is no name for a property.`);
  }
  demand(surface.origin.every(Number.isFinite), 'The origin must be finite.');
  for (let i = 0; i < positions.length; i++) {
    if (!Number.isFinite(positions[i])) throw new RangeError(`Vertex ${Math.floor(i / 3)} is not finite.`);
  }
  if (triangles) {
    demand(triangles.length % 3 === 0, 'Triangles come in threes.');
    for (let i = 0; i < triangles.length; i++) {
      if (triangles[i] >= count) throw new RangeError(`Triangle ${Math.floor(i / 3)} points to no vertex.`);
    }
  }
}

/** Largest absolute coordinate and largest distance from the origin along an axis, mm. */
export function coordinateRange(surface: SurfaceOutput): { readonly largest: number; readonly halfExtent: number } {
  const { origin, positions } = surface;
  let largest = 0;
  let halfExtent = 0;
  for (let i = 0; i < positions.length; i++) {
    const relative = Math.abs(positions[i]);
    if (relative > halfExtent) halfExtent = relative;
    const absolute = Math.abs(origin[i % 3] + positions[i]);
    if (absolute > largest) largest = absolute;
  }
  return { largest, halfExtent };
}

/** Largest error of rounding numbers up to `largest` to float32. */
export function float32Rounding(largest: number): number {
  return largest > 0 ? 2 ** (Math.floor(Math.log2(largest)) - 24) : 0;
}
