import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { hostname } from 'node:os';

/** Enough to tell a process from a later one with the same number. */
export interface ProcessIdentity {
  readonly pid: number;
  /** When it started, in the system's own notation without spaces; `unknown` where the system does not say. */
  readonly start: string;
  readonly host: string;
}

/** Start of a process, or null when there is none of that number. */
export function startOfProcess(pid: number): string | null {
  try {
    process.kill(pid, 0);
  } catch (error) {
    // EPERM: it exists and belongs to somebody else.
    if ((error as NodeJS.ErrnoException).code !== 'EPERM') return null;
  }
  if (process.platform === 'linux') {
    try {
      const stat = readFileSync(`/proc/${pid}/stat`, 'latin1');
      const fields = stat.slice(stat.lastIndexOf(')') + 2).split(' ');
      // proc(5): field 3 is the state, field 22 the start in clock ticks after boot.
      if (fields[0] === 'Z' || fields[0] === 'X') return null;
      const boot = readFileSync('/proc/sys/kernel/random/boot_id', 'latin1').slice(0, 8);
      return `${boot}t${fields[19]}`;
    } catch {
      return null;
    }
  }
  if (process.platform === 'win32') return 'unknown';
  try {
    const text = execFileSync('ps', ['-o', 'lstart=', '-p', String(pid)], { encoding: 'utf8' });
    return text.trim().replace(/[^0-9A-Za-z]+/g, '.');
  } catch {
    return 'unknown';
  }
}

/** Identity of this process. */
export function thisProcess(): ProcessIdentity {
  return {
    pid: process.pid,
    start: startOfProcess(process.pid) ?? 'unknown',
    host: hostname().replace(/[^0-9A-Za-z.-]+/g, '.') || 'localhost',
  };
}

/** Whether the process still runs. On another computer nobody can tell: then it counts as running. */
export function isRunning(identity: ProcessIdentity, own: ProcessIdentity): boolean {
  if (identity.host !== own.host) return true;
  const start = startOfProcess(identity.pid);
  if (start === null) return false;
  return start === identity.start || start === 'unknown' || identity.start === 'unknown';
}
