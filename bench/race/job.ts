/** Where the peer programs and their data lie; null where they are absent. */
export interface PeerPlaces {
  /** Folder of compiled peer programs (`LAPJOINT_PEERS_BUILD`). */
  readonly build: string | null;
  /** Folder of prepared data (`LAPJOINT_PEERS_DATA`). */
  readonly data: string | null;
  /** Folder of peer scripts: `LAPJOINT_PEERS_SCRIPTS`, else the source folder that the build names. */
  readonly scripts: string | null;
}

/** Figures of one case of a job, by key. Text figures are shown as they are. */
export interface Measurement {
  readonly case: string;
  readonly figures: Readonly<Record<string, number | string>>;
}

/** A peer: a program that prints one JSON line for each measurement. */
export interface Peer {
  readonly name: string;
  readonly command: readonly string[];
  /** Turns one of its lines into measurements of this job; an empty list for lines of no interest. */
  readonly translate: (line: Readonly<Record<string, unknown>>) => readonly Measurement[];
}

/** A column of the table. */
export interface Figure {
  readonly key: string;
  readonly label: string;
  /** Raced figures are times or errors, where less is better: the last row divides ours by the best peer's median. */
  readonly isRaced: boolean;
  readonly digits: number;
}

/** One race. A file of bench/peers exports it as `job`. */
export interface PeerJob {
  readonly name: string;
  readonly title: string;
  readonly figures: readonly Figure[];
  /** The peers, or an empty list where they or their data are absent. */
  peers(places: PeerPlaces): readonly Peer[];
  /** Runs our side once, in a process of its own. Works without peers, on data it generates. */
  ours(places: PeerPlaces): Promise<readonly Measurement[]> | readonly Measurement[];
}

/** Seconds of processor time that this process has used, all threads together. */
export function cpuSeconds(): number {
  const { user, system } = process.cpuUsage();
  return (user + system) / 1e6;
}

/** Runs work and tells the processor seconds it took. */
export function timed<T>(work: () => T): { readonly result: T; readonly seconds: number } {
  const start = cpuSeconds();
  const result = work();
  return { result, seconds: cpuSeconds() - start };
}

/** Peak memory of this process, MB. */
export function peakMemory(): number {
  return Math.round(process.resourceUsage().maxRSS / 1024);
}
