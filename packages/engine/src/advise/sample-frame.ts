import { estimateNormals, vertexNormals } from '../geometry/index.ts';
import { normalize, rotationMatrix, transformPoint, type Vec3 } from '../math/index.ts';
import type { AdviseFrame, PlacedSurface } from './advice.ts';

/** Points looked at in one scan: enough to find every cell of a surface. */
const LOOKED_AT = 200_000;
/** Neighbours of a normal where a cloud has none. */
const NEIGHBOURS = 12;

interface Cell {
  readonly place: Vec3;
  readonly normal: Vec3;
  /** Points of the scans that lie in it. */
  readonly count: number;
}

/**
 * Samples of a frame's surfaces spread evenly, and the distance between its points: what advice looks at.
 *
 * Frames   scans in their own frames; places and normals in the job, mm.
 * Method   one point for each occupied cell of a cube grid, the one nearest to the cell's middle; the grid is chosen for
 *          about `count` cells. Normals: those of the scan, of its triangles, or of neighbouring points.
 *
 * @returns null where no scan holds a point
 */
export function sampleFrame(
  frame: string,
  instrument: string,
  surfaces: readonly PlacedSurface[],
  count: number,
): AdviseFrame | null {
  const drawn = surfaces.filter((s) => s.scan.positions.length > 0).map(drawPoints);
  const first = drawn[0];
  if (first === undefined) return null;
  const origin: Vec3 = [first.places[0], first.places[1], first.places[2]];
  let extent = 0;
  for (const d of drawn)
    for (let i = 0; i < d.places.length; i++) extent = Math.max(extent, Math.abs(d.places[i] - origin[i % 3]));
  let size = extent > 0 ? extent / 20 : 1;
  let cells = gather(drawn, origin, size);
  // Cells of a surface go with the inverse square of their size: two steps come near enough.
  for (let round = 0; round < 3 && Math.abs(Math.log(cells.length / count)) > 0.2 && extent > 0; round++) {
    size *= Math.sqrt(cells.length / count);
    cells = gather(drawn, origin, size);
  }
  const counts = cells.map((c) => c.count).sort((a, b) => a - b);
  return {
    frame,
    instrument,
    spacing: size / Math.sqrt(Math.max(1, counts[Math.floor(counts.length / 2)] ?? 1)),
    places: Float64Array.from(cells.flatMap((c) => c.place)),
    normals: Float64Array.from(cells.flatMap((c) => c.normal)),
  };
}

interface DrawnPoints {
  readonly places: Float64Array;
  readonly normals: Float64Array;
  /** Points of the scan that one of these stands for. */
  readonly weight: number;
}

function drawPoints({ scan, jobFromScan }: PlacedSurface): DrawnPoints {
  const total = scan.positions.length / 3;
  const step = Math.max(1, Math.ceil(total / LOOKED_AT));
  const kept = Math.ceil(total / step);
  const own = scan.normals ?? (scan.triangles === null ? null : vertexNormals(scan.positions, scan.triangles));
  const some = new Float32Array(3 * kept);
  for (let i = 0; i < kept; i++) some.set(scan.positions.subarray(3 * i * step, 3 * i * step + 3), 3 * i);
  const estimated = own === null ? estimateNormals(some, Math.min(NEIGHBOURS, kept)).normals : null;
  const m = rotationMatrix(jobFromScan.rotation);
  const places = new Float64Array(3 * kept);
  const normals = new Float64Array(3 * kept);
  for (let i = 0; i < kept; i++) {
    const [x, y, z] = some.subarray(3 * i, 3 * i + 3);
    places.set(transformPoint(jobFromScan, [x + scan.origin[0], y + scan.origin[1], z + scan.origin[2]]), 3 * i);
    const n = estimated?.subarray(3 * i, 3 * i + 3) ?? own?.subarray(3 * i * step, 3 * i * step + 3) ?? [0, 0, 0];
    for (let k = 0; k < 3; k++) normals[3 * i + k] = m[3 * k] * n[0] + m[3 * k + 1] * n[1] + m[3 * k + 2] * n[2];
  }
  return { places, normals, weight: step };
}

/** One point for each occupied cell, in the order of the cells. */
function gather(drawn: readonly DrawnPoints[], origin: Vec3, size: number): Cell[] {
  const slots = new Map<number, number>();
  const best: { scan: DrawnPoints; at: number }[] = [];
  const fromCentre: number[] = [];
  const counts: number[] = [];
  const keys: number[] = [];
  const side = 2 ** 17;
  for (const scan of drawn) {
    const { places, normals, weight } = scan;
    for (let i = 0; i < places.length; i += 3) {
      if (normals[i] === 0 && normals[i + 1] === 0 && normals[i + 2] === 0) continue;
      const x = (places[i] - origin[0]) / size;
      const y = (places[i + 1] - origin[1]) / size;
      const z = (places[i + 2] - origin[2]) / size;
      const [a, b, c] = [Math.floor(x), Math.floor(y), Math.floor(z)];
      const key = ((c + side / 2) * side + b + side / 2) * side + a + side / 2;
      const away = (x - a - 0.5) ** 2 + (y - b - 0.5) ** 2 + (z - c - 0.5) ** 2;
      const slot = slots.get(key);
      if (slot === undefined) {
        slots.set(key, best.length);
        keys.push(key);
        best.push({ scan, at: i });
        fromCentre.push(away);
        counts.push(weight);
        continue;
      }
      counts[slot] += weight;
      if (away >= fromCentre[slot]) continue;
      fromCentre[slot] = away;
      best[slot] = { scan, at: i };
    }
  }
  const order = [...keys.keys()].sort((a, b) => keys[a] - keys[b]);
  return order.map((slot): Cell => {
    const { scan, at } = best[slot];
    return {
      place: [scan.places[at], scan.places[at + 1], scan.places[at + 2]],
      normal: normalize([scan.normals[at], scan.normals[at + 1], scan.normals[at + 2]]),
      count: counts[slot],
    };
  });
}
