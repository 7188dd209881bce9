import type { Random } from '../../base/index.ts';
import { IDENTITY_POSE, type Pose, rotate, transformPoint, type Vec3 } from '../../math/index.ts';
import { GrowingFloat64, GrowingUint32 } from './growing-numbers.ts';

/**
 * Whether anything in a box, on faces that look within 45 degrees of a direction, is wanted. Shapes may leave out what
 * is not; then they are not closed.
 */
export type ReachTest = (low: Vec3, high: Vec3, direction: Vec3) => boolean;

/**
 * How finely a solid is cut into triangles.
 *
 * `spacing`: largest distance of neighbouring vertices, mm. `chord`: largest distance of a triangle from a curved
 * surface, mm. `jitter`: when given, vertices inside a face are moved along it by part of their spacing, so that two
 * captures of one solid share no points; they stay exactly on the surface.
 */
export interface Tessellation {
  readonly spacing: number;
  readonly chord: number;
  readonly jitter: Random | null;
  /** Default: everything is wanted. */
  readonly reached?: ReachTest;
}

/** A closed triangle mesh, float64, mm, counter-clockwise seen from outside. */
export interface SolidMesh {
  readonly positions: Float64Array;
  readonly triangles: Uint32Array;
}

/** A shape that can be cut into triangles at any fineness. */
export type SolidShape = (tessellation: Tessellation) => SolidMesh;

/** Collects vertices and triangles of a solid; vertices added as `shared` are one where their places agree. */
export class SolidBuilder {
  readonly #positions = new GrowingFloat64();
  readonly #triangles = new GrowingUint32();
  readonly #shared = new Map<string, number>();

  add(x: number, y: number, z: number): number {
    this.#positions.push(x);
    this.#positions.push(y);
    this.#positions.push(z);
    return this.#positions.length / 3 - 1;
  }

  addShared(x: number, y: number, z: number): number {
    const key = `${Math.round(x * 1e5)},${Math.round(y * 1e5)},${Math.round(z * 1e5)}`;
    const known = this.#shared.get(key);
    if (known !== undefined) return known;
    const vertex = this.add(x, y, z);
    this.#shared.set(key, vertex);
    return vertex;
  }

  triangle(a: number, b: number, c: number): void {
    if (a !== b && b !== c && c !== a) this.#triangles.push3(a, b, c);
  }

  /** Two triangles of a four-sided face, counter-clockwise. */
  quad(a: number, b: number, c: number, d: number): void {
    this.triangle(a, b, c);
    this.triangle(a, c, d);
  }

  /** Coordinates of a vertex. */
  at(vertex: number): [number, number, number] {
    const p = this.#positions.values;
    return [p[3 * vertex], p[3 * vertex + 1], p[3 * vertex + 2]];
  }

  finish(): SolidMesh {
    return { positions: this.#positions.toArray(), triangles: this.#triangles.toArray() };
  }
}

/** A reach test in the coordinates of a placed solid: boxes grow to hold the turned ones. */
function placeReach(reached: ReachTest, modelFromSolid: Pose): ReachTest {
  return (low, high, direction) => {
    const corners = [0, 1, 2, 3, 4, 5, 6, 7].map((k) =>
      transformPoint(modelFromSolid, [k & 1 ? high[0] : low[0], k & 2 ? high[1] : low[1], k & 4 ? high[2] : low[2]]),
    );
    const extreme = (pick: (...x: number[]) => number): Vec3 => [
      pick(...corners.map((c) => c[0])),
      pick(...corners.map((c) => c[1])),
      pick(...corners.map((c) => c[2])),
    ];
    return reached(extreme(Math.min), extreme(Math.max), rotate(modelFromSolid.rotation, direction));
  };
}

/** The same shape at another place. */
export function placeSolid(shape: SolidShape, modelFromSolid: Pose): SolidShape {
  if (modelFromSolid === IDENTITY_POSE) return shape;
  return (tessellation) => {
    const { reached } = tessellation;
    const mesh = shape(reached ? { ...tessellation, reached: placeReach(reached, modelFromSolid) } : tessellation);
    const positions = new Float64Array(mesh.positions.length);
    const t = modelFromSolid.translation;
    for (let i = 0; i < positions.length; i += 3) {
      const p = rotate(modelFromSolid.rotation, [mesh.positions[i], mesh.positions[i + 1], mesh.positions[i + 2]]);
      positions[i] = p[0] + t[0];
      positions[i + 1] = p[1] + t[1];
      positions[i + 2] = p[2] + t[2];
    }
    return { positions, triangles: mesh.triangles };
  };
}
