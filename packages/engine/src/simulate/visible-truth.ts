import { buildPointIndex } from '../geometry/index.ts';
import { type Pose, transformPoint } from '../math/index.ts';
import type { ScanData } from '../model/index.ts';
import { scanOfPlaces } from './range-image-mesh.ts';
import type { SimulatedScene } from './scene.ts';

/** Places that a session measured and how far round one of them the surface counts as seen, mm. */
export interface SeenPlaces {
  readonly places: Float64Array;
  readonly reach: number;
}

/** Distance of the samples on which a triangle is tested, mm. */
const SAMPLE_STEP = 40;

/** Samples of a triangle: its middle and points on lines from its corners to its middle, closer than the step. */
function samplesOf(corners: readonly (readonly number[])[]): number[] {
  const longest = Math.max(
    ...[0, 1, 2].map((k) => Math.hypot(...[0, 1, 2].map((axis) => corners[k][axis] - corners[(k + 1) % 3][axis]))),
  );
  const steps = Math.min(8, Math.max(1, Math.ceil(longest / SAMPLE_STEP)));
  const samples: number[] = [];
  for (let a = 0; a < steps; a++) {
    for (let b = 0; a + b < steps; b++) {
      const [wa, wb] = [(a + 1 / 3) / steps, (b + 1 / 3) / steps];
      for (let axis = 0; axis < 3; axis++) {
        samples.push(wa * corners[0][axis] + wb * corners[1][axis] + (1 - wa - wb) * corners[2][axis]);
      }
    }
  }
  return samples;
}

/**
 * The part of a scene's surface that sessions have seen: what a fused surface is to be compared with.
 *
 * Method   a triangle is kept when some point of it is near a measured place; glass is left out.
 * Limits   surfaces of two solids nearer to each other than the reach count as seen together.
 *
 * @returns triangles of the scene in the frame of `jobFromModel`, float32 about their middle
 */
export function visibleTruth(
  scene: SimulatedScene,
  materialOfTriangle: Uint16Array,
  seen: readonly SeenPlaces[],
  jobFromModel: Pose,
): ScanData {
  const { positions: p, triangles: t } = scene;
  const triangleCount = t.length / 3;
  const samples: number[] = [];
  const firstSample = new Uint32Array(triangleCount + 1);
  for (let k = 0; k < triangleCount; k++) {
    if (scene.materials[materialOfTriangle[k]].measurable) {
      const corners = [0, 1, 2].map((e) => [0, 1, 2].map((axis) => p[3 * t[3 * k + e] + axis]));
      for (const x of samplesOf(corners)) samples.push(x);
    }
    firstSample[k + 1] = samples.length / 3;
  }
  const queries = Float32Array.from(samples);
  const sampleSeen = new Uint8Array(queries.length / 3);
  const nearest = new Int32Array(sampleSeen.length);
  const squared = new Float32Array(sampleSeen.length);
  for (const { places, reach } of seen) {
    const index = buildPointIndex(Float32Array.from(places, (x, i) => x - scene.origin[i % 3]));
    index.nearest(queries, reach, nearest, squared);
    index.dispose();
    for (let i = 0; i < sampleSeen.length; i++) if (nearest[i] >= 0) sampleSeen[i] = 1;
  }
  const newIndex = new Int32Array(p.length / 3).fill(-1);
  const places: number[] = [];
  const kept: number[] = [];
  for (let k = 0; k < triangleCount; k++) {
    let isSeen = false;
    for (let i = firstSample[k]; i < firstSample[k + 1]; i++) isSeen ||= sampleSeen[i] === 1;
    if (!isSeen) continue;
    for (let e = 0; e < 3; e++) {
      const v = t[3 * k + e];
      if (newIndex[v] < 0) {
        newIndex[v] = places.length / 3;
        const at = [0, 1, 2].map((axis) => scene.origin[axis] + p[3 * v + axis]);
        places.push(...transformPoint(jobFromModel, [at[0], at[1], at[2]]));
      }
      kept.push(newIndex[v]);
    }
  }
  return scanOfPlaces(Float64Array.from(places), {
    normals: null,
    colors: null,
    triangles: Uint32Array.from(kept),
    viewpoint: null,
  });
}
