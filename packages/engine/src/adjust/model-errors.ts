import { overlapArm } from './centre-frames.ts';
import type { ObservedElement, ObservedElements } from './observed-elements.ts';

/** A way in which measurements may be wrong: elements shifted by basis times an unknown vector of `count` numbers. */
export interface ModelError {
  /** `tie`: all that a tie (or, of its targets, one frame) says, moved as a rigid body. `observation`: one measurement. */
  readonly kind: 'tie' | 'observation';
  readonly ties: readonly string[];
  /** In words, for a finding. */
  readonly words: string;
  readonly count: number;
  readonly shifts: readonly {
    readonly element: number;
    /** size x count. */
    readonly basis: Float64Array;
  }[];
  /** How far it moves something, mm: rows x count each; the largest counts. */
  readonly displacements: readonly { readonly rows: number; readonly matrix: Float64Array }[];
}

function unit(rows: number, columns: number, factors: readonly number[] = []): Float64Array {
  const out = new Float64Array(rows * columns);
  for (let i = 0; i < Math.min(rows, columns); i++) out[i * columns + i] = factors[i] ?? 1;
  return out;
}

/** A single measurement in all its numbers. */
function singleError(element: ObservedElement, index: number): ModelError {
  // The stretch of a weighed overlap is no number of its answer.
  const count = Math.min(element.size, 6);
  const basis = unit(element.size, count);
  const isForm = element.kind === 'overlap' || element.kind === 'relation';
  const arm = element.link?.kind === 'overlap' ? overlapArm(element.link.source) : 1;
  const factors = isForm ? [1, 1, 1, arm, arm, arm] : [];
  return {
    kind: element.kind === 'overlap' ? 'tie' : 'observation',
    ties: [element.tie],
    words: wordsOf(element),
    count,
    shifts: [{ element: index, basis }],
    displacements: [{ rows: count, matrix: unit(count, count, factors) }],
  };
}

function wordsOf({ kind, name, frames, tie, source }: ObservedElement): string {
  switch (kind) {
    case 'target':
      return `target ${name} in ${frames[0]}`;
    case 'pair':
      return `pair ${name} of ${tie}`;
    case 'probe':
      return `probed point ${name} of ${tie}`;
    case 'overlap':
      return source.kind === 'overlap' && source.scanA !== null && source.scanB !== null
        ? `the overlap of ${source.scanA} and ${source.scanB}`
        : `tie ${tie}`;
    default:
      return `${kind} ${name} of ${tie}`;
  }
}

/** What several elements say together, moved with one frame. */
function groupError(
  observed: ObservedElements,
  indices: readonly number[],
  frame: string,
  words: string,
): ModelError | null {
  const shifts: { element: number; basis: Float64Array }[] = [];
  const ties: string[] = [];
  for (const element of indices) {
    const { motions, tie } = observed.elements[element] as ObservedElement;
    const basis = motions.get(frame);
    if (!basis) continue;
    shifts.push({ element, basis });
    if (!ties.includes(tie)) ties.push(tie);
  }
  if (shifts.length < 2) return null;
  const displacements = shifts.map(({ element, basis }) => ({
    rows: (observed.elements[element] as ObservedElement).size,
    matrix: basis,
  }));
  return { kind: 'tie', ties, words, count: 6, shifts, displacements };
}

/**
 * The errors that are looked for: every measurement alone, every tie of several measurements as a rigid body, and all targets of
 * one frame as a rigid body (the list of another day).
 */
export function listModelErrors(observed: ObservedElements): ModelError[] {
  const errors: ModelError[] = [];
  const byTie = new Map<string, number[]>();
  const targetsOfFrame = new Map<string, number[]>();
  const enter = (map: Map<string, number[]>, key: string, index: number): void => {
    const list = map.get(key) ?? [];
    map.set(key, list);
    list.push(index);
  };
  observed.elements.forEach((element, index) => {
    errors.push(singleError(element, index));
    if (element.kind === 'target') enter(targetsOfFrame, element.frames[0] as string, index);
    else enter(byTie, element.tie, index);
  });
  for (const [tie, indices] of byTie) {
    if (indices.length < 2) continue;
    const touched = new Map<string, number>();
    for (const index of indices) {
      for (const frame of (observed.elements[index] as ObservedElement).motions.keys())
        touched.set(frame, (touched.get(frame) ?? 0) + 1);
    }
    const frames = [...touched].sort((a, b) => b[1] - a[1] || (a[0] < b[0] ? -1 : 1)).map(([frame]) => frame);
    // Moving one frame of a tie is moving the other the other way: of two frames one is enough.
    for (const frame of frames.length <= 2 ? frames.slice(0, 1) : frames) {
      const error = groupError(observed, indices, frame, `all that ${tie} says`);
      if (error) errors.push(error);
    }
  }
  for (const [frame, indices] of targetsOfFrame) {
    const error = groupError(observed, indices, frame, `all targets of ${frame}`);
    if (error) errors.push(error);
  }
  return errors;
}

/** Whether one error is part of the other: the second can say all that the first can. */
export function isPartOf(part: ModelError, whole: ModelError): boolean {
  return part.shifts.every((s) => whole.shifts.some((o) => o.element === s.element));
}
