import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import type { PeerPlaces } from './job.ts';

/** Looks where the environment says the peers are. */
export function findPeers(): PeerPlaces {
  const build = existing(process.env['LAPJOINT_PEERS_BUILD']);
  const data = existing(process.env['LAPJOINT_PEERS_DATA']);
  const scripts = existing(process.env['LAPJOINT_PEERS_SCRIPTS']) ?? existing(build ? sourceFolder(build) : undefined);
  return { build, data, scripts };
}

function existing(path: string | undefined): string | null {
  return path && existsSync(path) ? path : null;
}

function sourceFolder(build: string): string | undefined {
  const cache = join(build, 'CMakeCache.txt');
  if (!existsSync(cache)) return undefined;
  return /^CMAKE_HOME_DIRECTORY:INTERNAL=(.*)$/m.exec(readFileSync(cache, 'utf8'))?.[1];
}
