import {
  buildPointIndex,
  compose,
  invert,
  type Pose,
  type PreparedScan,
  rotate,
  transformPoint,
} from '@lapjoint/engine';

/**
 * Robust root mean square distance over all overlaps (1.4826 times the median of the absolute distances along the normal),
 * measured here from scratch: nearest point within 2 mm, its normal, no code of the alignment but the search tree.
 */
export function robustOverlapRms(scans: readonly PreparedScan[], worldFromScan: readonly Pose[]): number {
  const distances: number[] = [];
  scans.forEach((target, j) => {
    const index = buildPointIndex(target.positions);
    scans.forEach((source, i) => {
      if (i === j) return;
      const targetFromSource = compose(invert(worldFromScan[j] as Pose), worldFromScan[i] as Pose);
      const queries: number[] = [];
      const normals: number[] = [];
      for (let k = 0; k < source.border.length; k += 23) {
        if (source.border[k] !== 0) continue;
        const at = (a: Float32Array, c: number): number => a[3 * k + c] as number;
        const p = transformPoint(targetFromSource, [
          source.origin[0] + at(source.positions, 0),
          source.origin[1] + at(source.positions, 1),
          source.origin[2] + at(source.positions, 2),
        ]);
        queries.push(p[0] - target.origin[0], p[1] - target.origin[1], p[2] - target.origin[2]);
        normals.push(
          ...rotate(targetFromSource.rotation, [at(source.normals, 0), at(source.normals, 1), at(source.normals, 2)]),
        );
      }
      const count = queries.length / 3;
      const found = new Int32Array(count);
      index.nearest(Float32Array.from(queries), 2, found, new Float32Array(count));
      for (let q = 0; q < count; q++) {
        const n = found[q] as number;
        if (n < 0 || target.border[n] !== 0) continue;
        let along = 0;
        let facing = 0;
        for (let c = 0; c < 3; c++) {
          const normal = target.normals[3 * n + c] as number;
          along += normal * ((queries[3 * q + c] as number) - (target.positions[3 * n + c] as number));
          facing += normal * (normals[3 * q + c] as number);
        }
        if (facing > 0.5) distances.push(Math.abs(along));
      }
    });
    index.dispose();
  });
  distances.sort((a, b) => a - b);
  return 1.4826 * (distances[Math.floor(distances.length / 2)] as number);
}
