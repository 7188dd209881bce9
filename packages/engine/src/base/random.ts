/** A stream of random numbers that repeats for the same seed on every machine. */
export interface Random {
  /** Uniform in [0, 1). */
  uniform(): number;
  /** Standard normal (polar method of Marsaglia). */
  normal(): number;
  /** Uniform integer in [0, limit). */
  integer(limit: number): number;
}

function hashText(text: string): number {
  // FNV-1a, 32 bit.
  let hash = 0x811c9dc5;
  for (let i = 0; i < text.length; i++) {
    hash ^= text.charCodeAt(i);
    hash = Math.imul(hash, 0x01000193);
  }
  return hash >>> 0;
}

/**
 * Makes the stream that belongs to a seed and a name, so that the order in which streams are used does not matter.
 *
 * Method   sfc32 (public domain, Doty-Humphrey), state filled by a 32-bit mix of seed and name.
 *
 * @param seed whole number, the job's seed
 * @param name stage and item, for example `register/scan-3`
 */
export function makeRandom(seed: number, name: string): Random {
  let a = hashText(name) | 0;
  let b = (seed ^ 0x9e3779b9) | 0;
  let c = (Math.floor(seed / 4294967296) ^ 0x243f6a88) | 0;
  let d = 1;
  const next = (): number => {
    const t = (((a + b) | 0) + d) | 0;
    d = (d + 1) | 0;
    a = b ^ (b >>> 9);
    b = (c + (c << 3)) | 0;
    c = (c << 21) | (c >>> 11);
    c = (c + t) | 0;
    return t >>> 0;
  };
  for (let i = 0; i < 20; i++) next();
  const uniform = (): number => (next() * 2097152 + (next() >>> 11)) / 9007199254740992;
  let spare: number | null = null;
  return {
    uniform,
    integer: (limit) => Math.floor(uniform() * limit),
    normal: () => {
      if (spare !== null) {
        const value = spare;
        spare = null;
        return value;
      }
      for (;;) {
        const u = 2 * uniform() - 1;
        const v = 2 * uniform() - 1;
        const s = u * u + v * v;
        if (s > 0 && s < 1) {
          const factor = Math.sqrt((-2 * Math.log(s)) / s);
          spare = v * factor;
          return u * factor;
        }
      }
    },
  };
}
