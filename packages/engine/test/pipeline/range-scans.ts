import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import {
  bytesInMemory,
  makeRunContext,
  normalizeQuaternion,
  type Pose,
  readScanFile,
  type ScanData,
  toScanData,
} from '@lapjoint/engine';
import { sharedPath } from '../../../../tests/shared-data.ts';

/** One published range scan with its published pose. */
export interface PublishedScan {
  readonly name: string;
  readonly scan: ScanData;
  readonly worldFromScan: Pose;
}

/** Folder of the ten range scans of the Stanford Computer Graphics Laboratory, or null. */
export const RANGE_SCANS: string | null = sharedPath('data/stanford-bunny-scans');

/** Reads the ten scans with `--unit m` and their poses: world = R(q)^T scan + t, as measured in the data's own notes. */
export async function readPublishedScans(folder: string): Promise<PublishedScan[]> {
  const lines = readFileSync(join(folder, 'bun.conf'), 'utf8').split('\n');
  const scans: PublishedScan[] = [];
  for (const line of lines) {
    const words = line.trim().split(/\s+/);
    if (words[0] !== 'bmesh') continue;
    const [tx, ty, tz, qx, qy, qz, qw] = words.slice(2).map(Number) as [
      number,
      number,
      number,
      number,
      number,
      number,
      number,
    ];
    const name = words[1] as string;
    const raw = await readScanFile(bytesInMemory(name, readFileSync(join(folder, name))), {}, makeRunContext());
    scans.push({
      name,
      scan: toScanData(raw, 'm'),
      worldFromScan: {
        rotation: normalizeQuaternion([qw, -qx, -qy, -qz]),
        translation: [1000 * tx, 1000 * ty, 1000 * tz],
      },
    });
  }
  return scans;
}
