import { buildPointIndex } from '../geometry/index.ts';
import { type Pose, transformPoint } from '../math/index.ts';
import type { ScanData } from '../model/index.ts';
import { scanOfPlaces } from './range-image-mesh.ts';
import type { SimulatedScene } from './scene.ts';
import { GrowingFloat64, GrowingUint32 } from './solids/growing-numbers.ts';

/** Places that a session measured and how far round one of them the surface counts as seen, mm. */
export interface SeenPlaces {
  readonly places: Float64Array;
  readonly reach: number;
}

function relativeTo(origin: readonly number[], places: Float64Array): Float32Array {
  const out = new Float32Array(places.length);
  for (let i = 0; i < out.length; i++) out[i] = places[i] - origin[i % 3];
  return out;
}

/** Distance of the samples on which a triangle is tested, mm. */
const SAMPLE_STEP = 40;

/** Adds places spread over a triangle, closer than the step, to the list. */
function addSamples(p: Float32Array, a: number, b: number, c: number, samples: GrowingFloat64): void {
  const longest = Math.max(
    Math.hypot(p[a] - p[b], p[a + 1] - p[b + 1], p[a + 2] - p[b + 2]),
    Math.hypot(p[b] - p[c], p[b + 1] - p[c + 1], p[b + 2] - p[c + 2]),
    Math.hypot(p[c] - p[a], p[c + 1] - p[a + 1], p[c + 2] - p[a + 2]),
  );
  const steps = Math.min(8, Math.max(1, Math.ceil(longest / SAMPLE_STEP)));
  for (let i = 0; i < steps; i++) {
    for (let j = 0; i + j < steps; j++) {
      const wa = (i + 1 / 3) / steps;
      const wb = (j + 1 / 3) / steps;
      for (let axis = 0; axis < 3; axis++) {
        samples.push(wa * p[a + axis] + wb * p[b + axis] + (1 - wa - wb) * p[c + axis]);
      }
    }
  }
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
  const samples = new GrowingFloat64();
  const firstSample = new Uint32Array(triangleCount + 1);
  for (let k = 0; k < triangleCount; k++) {
    if (scene.materials[materialOfTriangle[k]].measurable) {
      addSamples(p, 3 * t[3 * k], 3 * t[3 * k + 1], 3 * t[3 * k + 2], samples);
    }
    firstSample[k + 1] = samples.length / 3;
  }
  const queries = new Float32Array(samples.toArray());
  const sampleSeen = new Uint8Array(queries.length / 3);
  const nearest = new Int32Array(sampleSeen.length);
  const squared = new Float32Array(sampleSeen.length);
  for (const { places, reach } of seen) {
    const index = buildPointIndex(relativeTo(scene.origin, places));
    index.nearest(queries, reach, nearest, squared);
    index.dispose();
    for (let i = 0; i < sampleSeen.length; i++) if (nearest[i] >= 0) sampleSeen[i] = 1;
  }
  const newIndex = new Int32Array(p.length / 3).fill(-1);
  const places = new GrowingFloat64();
  const kept = new GrowingUint32();
  for (let k = 0; k < triangleCount; k++) {
    let isSeen = false;
    for (let i = firstSample[k]; i < firstSample[k + 1]; i++) isSeen ||= sampleSeen[i] === 1;
    if (!isSeen) continue;
    for (let e = 0; e < 3; e++) {
      const v = t[3 * k + e];
      if (newIndex[v] < 0) {
        newIndex[v] = places.length / 3;
        const [x, y, z] = [0, 1, 2].map((axis) => scene.origin[axis] + p[3 * v + axis]);
        for (const coordinate of transformPoint(jobFromModel, [x, y, z])) places.push(coordinate);
      }
      kept.push(newIndex[v]);
    }
  }
  return scanOfPlaces(places.toArray(), {
    normals: null,
    colors: null,
    triangles: kept.toArray(),
    viewpoint: null,
  });
}
