import {
  type AssemblyResult,
  absoluteOrientation,
  assembleScans,
  chooseCoarseSpacing,
  compose,
  describeForAssembly,
  invert,
  makeRunContext,
  matchPair,
  type PairMatch,
  type Pose,
  type PreparedScan,
  rotationAngle,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';

/** All pairs matched, all scans assembled, on one thread. */
export async function assembleAll(
  scans: readonly PreparedScan[],
): Promise<{ result: AssemblyResult; pairs: PairMatch[] }> {
  const spacing = chooseCoarseSpacing(scans, 0.05);
  const described = scans.map((scan) => describeForAssembly(scan, spacing));
  const pairs: PairMatch[] = [];
  for (let source = 0; source < scans.length; source++) {
    for (let target = source + 1; target < scans.length; target++) {
      pairs.push(matchPair({ source, target, sourceScan: described[source], targetScan: described[target] }));
    }
  }
  return { result: await assembleScans(described, pairs, makeRunContext()), pairs };
}

/** Largest rotation (degrees) and way of a centre (mm) of the placed scans after a rigid fit of the whole set to the truth. */
export function deviationAfterFit(
  result: AssemblyResult,
  scans: readonly PreparedScan[],
  truth: readonly Pose[],
): { angleDeg: number; way: number } {
  const from: Vec3[] = [];
  const to: Vec3[] = [];
  const places = result.scans.flatMap((scan, i) =>
    scan.assemblyFromScan === null ? [] : [{ pose: scan.assemblyFromScan, truth: truth[i], scan: scans[i] }],
  );
  for (const place of places) {
    const { positions, origin } = place.scan;
    for (let k = 0; k < positions.length; k += 3 * 250) {
      const p: Vec3 = [positions[k] + origin[0], positions[k + 1] + origin[1], positions[k + 2] + origin[2]];
      from.push(transformPoint(place.pose, p));
      to.push(transformPoint(place.truth, p));
    }
  }
  const fit = absoluteOrientation(from, to, {}).targetFromSource;
  let angleDeg = 0;
  let way = 0;
  for (const place of places) {
    const pose = compose(fit, place.pose);
    angleDeg = Math.max(angleDeg, (rotationAngle(compose(invert(place.truth), pose).rotation) * 180) / Math.PI);
    const { origin, centroid } = place.scan;
    const center: Vec3 = [origin[0] + centroid[0], origin[1] + centroid[1], origin[2] + centroid[2]];
    const p = transformPoint(pose, center);
    const q = transformPoint(place.truth, center);
    way = Math.max(way, Math.hypot(p[0] - q[0], p[1] - q[1], p[2] - q[2]));
  }
  return { angleDeg, way };
}
