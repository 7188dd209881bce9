import { normalizeQuaternion, type Pose, type Random, rotate, type ScanData, transformPoint } from '@lapjoint/engine';

/** A random rotation, uniform, and a shift of up to `reach` mm along each axis. */
export function randomPose(random: Random, reach: number): Pose {
  const draw = (): number => reach * (2 * random.uniform() - 1);
  return {
    rotation: normalizeQuaternion([random.normal(), random.normal(), random.normal(), random.normal()]),
    translation: [draw(), draw(), draw()],
  };
}

/** The same scan captured in another frame: coordinates moved in float64, then stored as a scan of that frame is. */
export function movedScan(scan: ScanData, newFromOld: Pose): ScanData {
  const origin = transformPoint(newFromOld, scan.origin);
  const positions = new Float32Array(scan.positions.length);
  const normals = scan.normals === null ? null : new Float32Array(scan.normals.length);
  for (let i = 0; i < positions.length; i += 3) {
    const at = (a: Float32Array): [number, number, number] => [a[i] as number, a[i + 1] as number, a[i + 2] as number];
    positions.set(rotate(newFromOld.rotation, at(scan.positions)), i);
    if (normals !== null) normals.set(rotate(newFromOld.rotation, at(scan.normals as Float32Array)), i);
  }
  const { viewpoint } = scan;
  return {
    ...scan,
    origin,
    positions,
    normals,
    viewpoint:
      viewpoint === null
        ? null
        : viewpoint.kind === 'position'
          ? { kind: 'position', position: transformPoint(newFromOld, viewpoint.position) }
          : { kind: 'direction', direction: rotate(newFromOld.rotation, viewpoint.direction) },
  };
}
