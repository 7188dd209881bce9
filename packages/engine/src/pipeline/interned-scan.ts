import { type PreparedScan, releaseScanPointIndex } from '../register/index.ts';

/** A prepared scan with the key of its content, as tasks receive it. */
export interface KeyedScan {
  readonly key: string;
  readonly scan: PreparedScan;
}

/** Scans whose search structures a thread keeps: more than a job of this size looks at in one round. */
const KEPT_SCANS = 64;

const kept = new Map<string, PreparedScan>();

/**
 * The same object for the same content, on this thread: search trees and smooth surfaces are kept with the object, and
 * every task message brings a new one. Only saves time; results do not depend on it.
 */
export function internScan(keyed: KeyedScan): PreparedScan {
  const known = kept.get(keyed.key);
  if (known !== undefined) {
    kept.delete(keyed.key);
    kept.set(keyed.key, known);
    return known;
  }
  kept.set(keyed.key, keyed.scan);
  if (kept.size > KEPT_SCANS) {
    const [oldest, scan] = kept.entries().next().value as [string, PreparedScan];
    kept.delete(oldest);
    releaseScanPointIndex(scan);
  }
  return keyed.scan;
}

/** Key of a prepared scan's content: two 32 bit FNV-1a sums over the bits of its coordinates, with its size. */
export function keyOfScan(scan: PreparedScan): string {
  const words = new Uint32Array(scan.positions.buffer, scan.positions.byteOffset, scan.positions.length);
  let a = 0x811c9dc5;
  let b = 0x9747b28c;
  for (let i = 0; i < words.length; i++) {
    a = Math.imul(a ^ words[i], 0x01000193);
    b = Math.imul(b ^ (words[i] >>> 7), 0x85ebca6b) ^ a;
  }
  return [scan.positions.length, a >>> 0, b >>> 0, ...scan.origin, scan.noise, scan.spacing].join(' ');
}
