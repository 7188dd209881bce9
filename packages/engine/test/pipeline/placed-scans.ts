import {
  type AlignmentResult,
  absoluteOrientation,
  compose,
  distance,
  invert,
  type Pose,
  rotationAngle,
  type ScanData,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';

/** Deviation of one placed scan after the whole set has been fitted rigidly to the truth. */
export interface PlacedDeviation {
  readonly angleDeg: number;
  /** Root mean square over the scan's points, mm. */
  readonly rms: number;
}

function pointsOf(scan: ScanData, count: number): Vec3[] {
  const total = scan.positions.length / 3;
  const step = Math.max(1, Math.floor(total / count));
  const points: Vec3[] = [];
  for (let i = 0; i < total; i += step) {
    points.push([
      scan.origin[0] + (scan.positions[3 * i] as number),
      scan.origin[1] + (scan.positions[3 * i + 1] as number),
      scan.origin[2] + (scan.positions[3 * i + 2] as number),
    ]);
  }
  return points;
}

/**
 * Compares an alignment with the truth: the common frame is free, so the whole placed set is fitted to it first.
 *
 * @param truth worldFromScan of each scan, in the order of the alignment's frames
 * @returns null for refused scans
 */
export function deviationsFromTruth(
  scans: readonly ScanData[],
  result: AlignmentResult,
  truth: readonly Pose[],
): (PlacedDeviation | null)[] {
  const source: Vec3[] = [];
  const target: Vec3[] = [];
  scans.forEach((scan, i) => {
    const pose = result.frames[i]?.jobFromFrame;
    if (!pose) return;
    for (const p of pointsOf(scan, 200)) {
      source.push(transformPoint(pose, p));
      target.push(transformPoint(truth[i] as Pose, p));
    }
  });
  const worldFromJob = absoluteOrientation(source, target).targetFromSource;
  return scans.map((scan, i) => {
    const pose = result.frames[i]?.jobFromFrame;
    if (!pose) return null;
    const found = compose(worldFromJob, pose);
    const points = pointsOf(scan, 500);
    const squares = points.reduce(
      (sum, p) => sum + distance(transformPoint(found, p), transformPoint(truth[i] as Pose, p)) ** 2,
      0,
    );
    const turn = compose(found, invert(truth[i] as Pose));
    return { angleDeg: (rotationAngle(turn.rotation) * 180) / Math.PI, rms: Math.sqrt(squares / points.length) };
  });
}
