import { existsSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

const root = join(dirname(fileURLToPath(import.meta.url)), '..', '..', 'shared');

/**
 * Path of a file or folder of the data kept beside the checkout, or null where it is not present.
 * Tests use it as `describe.skipIf(sharedPath('data/x') === null)`, so that they say what they skip.
 *
 * @param relative for example `data/stanford-bunny-scans/bun000.ply` or `checks/tau_critical.csv`
 */
export function sharedPath(relative: string): string | null {
  const path = join(root, relative);
  return existsSync(path) ? path : null;
}
