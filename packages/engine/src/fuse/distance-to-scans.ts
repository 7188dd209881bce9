import { buildPointIndex, buildTriangleIndex } from '../geometry/index.ts';
import { invert, rotationMatrix } from '../math/index.ts';
import type { PosedScan } from './posed-scan.ts';

const CHUNK = 4096;

/**
 * Distance of places in the job frame to the nearest of several scans: to the triangles of a mesh, to the points of a cloud.
 *
 * @param points xyz, float64, job frame, mm
 * @param search scans further away than this are not found; the distance is then Infinity
 * @param enough a place that one scan shows nearer than this is not looked up in the others, so the numbers below it are
 *        distances to some scan, not to the nearest
 */
export function distanceToScans(
  points: Float64Array,
  scans: readonly PosedScan[],
  search: number,
  enough: number,
): Float64Array {
  const count = points.length / 3;
  const distances = new Float64Array(count).fill(Infinity);
  for (const posed of scans) {
    const { scan } = posed;
    const measure = scan.triangles
      ? meshDistances(scan.positions, scan.triangles, search)
      : cloudDistances(scan.positions, search);
    const inverse = invert(posed.jobFromScan);
    const m = rotationMatrix(inverse.rotation);
    const shift = inverse.translation.map((value, axis) => value - scan.origin[axis]);
    const open: number[] = [];
    const flush = (): void => {
      const queries = new Float32Array(3 * open.length);
      open.forEach((i, n) => {
        for (let axis = 0; axis < 3; axis++) {
          queries[3 * n + axis] =
            m[3 * axis] * points[3 * i] +
            m[3 * axis + 1] * points[3 * i + 1] +
            m[3 * axis + 2] * points[3 * i + 2] +
            shift[axis];
        }
      });
      const found = measure.query(queries);
      open.forEach((i, n) => {
        distances[i] = Math.min(distances[i], Math.sqrt(found[n]));
      });
      open.length = 0;
    };
    for (let i = 0; i < count; i++) {
      if (distances[i] <= enough) continue;
      open.push(i);
      if (open.length === CHUNK) flush();
    }
    flush();
    measure.dispose();
  }
  return distances;
}

interface DistanceQuery {
  /** Squared distances. */
  readonly query: (queries: Float32Array) => Float32Array;
  readonly dispose: () => void;
}

function meshDistances(positions: Float32Array, triangles: Uint32Array, search: number): DistanceQuery {
  const index = buildTriangleIndex(positions, triangles);
  return {
    query: (queries) => {
      const squares = new Float32Array(queries.length / 3);
      index.closestPoints(queries, search, new Int32Array(squares.length), new Float32Array(queries.length), squares);
      return squares;
    },
    dispose: () => index.dispose(),
  };
}

function cloudDistances(positions: Float32Array, search: number): DistanceQuery {
  const index = buildPointIndex(positions);
  return {
    query: (queries) => {
      const squares = new Float32Array(queries.length / 3);
      index.nearest(queries, search, new Int32Array(squares.length), squares);
      return squares;
    },
    dispose: () => index.dispose(),
  };
}
