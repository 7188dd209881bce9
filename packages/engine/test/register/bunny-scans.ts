import { readFileSync } from 'node:fs';
import {
  bytesInMemory,
  makeRandom,
  makeRunContext,
  normalizeQuaternion,
  type Pose,
  readScanFile,
  rotate,
  type ScanData,
  toScanData,
  transformPoint,
} from '@lapjoint/engine';

/** A range scan of the Stanford repository with its published pose. */
export interface PublishedScan {
  readonly name: string;
  readonly data: ScanData;
  readonly objectFromScan: Pose;
}

/**
 * Reads all scans that bun.conf lists, mm. The file stores the inverse of the rotation (SOURCE.md beside it).
 *
 * @param folder data/stanford-bunny-scans
 */
export async function readBunnyScans(folder: string): Promise<PublishedScan[]> {
  const lines = readFileSync(`${folder}/bun.conf`, 'utf8')
    .split('\n')
    .filter((line) => line.startsWith('bmesh'));
  const scans: PublishedScan[] = [];
  for (const line of lines) {
    const words = line.trim().split(/\s+/);
    const [tx, ty, tz, x, y, z, w] = words.slice(2).map(Number);
    const source = bytesInMemory(words[1], readFileSync(`${folder}/${words[1]}`));
    scans.push({
      name: words[1],
      data: toScanData(await readScanFile(source, {}, makeRunContext()), 'm'),
      objectFromScan: {
        rotation: normalizeQuaternion([-w, x, y, z]),
        translation: [tx * 1000, ty * 1000, tz * 1000],
      },
    });
  }
  return scans;
}

/** A random rotation and a shift of up to `reach` mm: a frame in which a scan might have been captured. */
export function randomStart(seed: number, name: string, reach: number): Pose {
  const random = makeRandom(seed, `start ${name}`);
  const direction = [random.normal(), random.normal(), random.normal()];
  const length = Math.hypot(...direction);
  const way = reach * random.uniform();
  return {
    rotation: normalizeQuaternion([random.normal(), random.normal(), random.normal(), random.normal()]),
    translation: [(direction[0] * way) / length, (direction[1] * way) / length, (direction[2] * way) / length],
  };
}

/** The scan with its coordinates in another frame. */
export function inOtherFrame(scan: ScanData, frameFromScan: Pose): ScanData {
  const turn = (values: Float32Array): Float32Array => {
    const out = new Float32Array(values.length);
    for (let i = 0; i < values.length; i += 3) {
      out.set(rotate(frameFromScan.rotation, [values[i], values[i + 1], values[i + 2]]), i);
    }
    return out;
  };
  const { viewpoint } = scan;
  return {
    ...scan,
    origin: transformPoint(frameFromScan, scan.origin),
    positions: turn(scan.positions),
    normals: scan.normals === null ? null : turn(scan.normals),
    viewpoint:
      viewpoint === null
        ? null
        : viewpoint.kind === 'direction'
          ? { kind: 'direction', direction: rotate(frameFromScan.rotation, viewpoint.direction) }
          : { kind: 'position', position: transformPoint(frameFromScan, viewpoint.position) },
  };
}
