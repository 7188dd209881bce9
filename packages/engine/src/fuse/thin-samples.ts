import { SampleSink } from './fusion-samples.ts';
import { KeyTable } from './key-table.ts';

/** Side of the cubes inside which samples are joined, in resolutions: small against the kernel, yet only a few per cell. */
const CUBE = 0.7;
/** Thinning starts where samples are closer than this many resolutions. */
const DENSE = 0.55;
/** Cubes an axis may have: those of the largest grid. */
const CUBES = 94_000;

/**
 * Joins samples of one scan that are much denser than the resolution.
 *
 * Method   samples of one cube and one main direction of the normal become one: mean place weighed by area, sum of area
 *          vectors. Facing is kept apart, so a thin sheet is never folded together. The result is sorted by cube.
 *
 * @returns the same sink when it is not dense
 */
export function thinSamples(sink: SampleSink, resolution: number, low: readonly number[]): SampleSink {
  const limit = (DENSE * resolution) ** 2;
  let dense = 0;
  for (let i = 0; i < sink.count; i++) if (sink.areas[i] < limit) dense++;
  if (dense < 0.5 * sink.count) return sink;
  const cube = CUBE * resolution;
  const table = new KeyTable(sink.count / 3);
  const keys: number[] = [];
  const clusterOf = new Int32Array(sink.count);
  for (let i = 0; i < sink.count; i++) {
    const x = Math.floor((sink.positions[3 * i] - low[0]) / cube);
    const y = Math.floor((sink.positions[3 * i + 1] - low[1]) / cube);
    const z = Math.floor((sink.positions[3 * i + 2] - low[2]) / cube);
    const facing = mainDirection(sink.normals[3 * i], sink.normals[3 * i + 1], sink.normals[3 * i + 2]);
    const key = ((z * CUBES + y) * CUBES + x) * 6 + facing;
    const index = table.indexOf(key);
    if (index === keys.length) keys.push(key);
    clusterOf[i] = index;
  }
  return joinClusters(sink, clusterOf, Float64Array.from(keys));
}

function joinClusters(sink: SampleSink, clusterOf: Int32Array, keys: Float64Array): SampleSink {
  const count = keys.length;
  // Area, place x area, area vector, border x area, colour x area.
  const sums = new Float64Array(11 * count);
  const colors = sink.colors;
  for (let i = 0; i < sink.count; i++) {
    const at = 11 * clusterOf[i];
    const area = sink.areas[i];
    sums[at] += area;
    for (let axis = 0; axis < 3; axis++) {
      sums[at + 1 + axis] += area * sink.positions[3 * i + axis];
      sums[at + 4 + axis] += area * sink.normals[3 * i + axis];
      if (colors) sums[at + 8 + axis] += area * colors[3 * i + axis];
    }
    sums[at + 7] += area * sink.borders[i];
  }
  const order = Uint32Array.from(keys, (_, i) => i).sort((a, b) => keys[a] - keys[b]);
  const out = new SampleSink(count, colors !== null);
  for (const cluster of order) {
    const at = 11 * cluster;
    const total = sums[at];
    const x = sums[at + 4];
    const y = sums[at + 5];
    const z = sums[at + 6];
    const area = Math.sqrt(x * x + y * y + z * z);
    if (!(area > 0)) continue;
    const i = out.add(
      sums[at + 1] / total,
      sums[at + 2] / total,
      sums[at + 3] / total,
      x / area,
      y / area,
      z / area,
      area,
      sums[at + 7] / total,
    );
    if (colors) out.setColor(i, sums[at + 8] / total, sums[at + 9] / total, sums[at + 10] / total);
  }
  return out;
}

function mainDirection(x: number, y: number, z: number): number {
  const ax = Math.abs(x);
  const ay = Math.abs(y);
  const az = Math.abs(z);
  if (ax >= ay && ax >= az) return x >= 0 ? 0 : 1;
  if (ay >= az) return y >= 0 ? 2 : 3;
  return z >= 0 ? 4 : 5;
}
