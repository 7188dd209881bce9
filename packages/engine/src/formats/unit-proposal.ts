import { type LengthUnit, MM_PER_UNIT } from '../model/index.ts';
import type { RawScan } from './raw-scan.ts';

/** Largest extents, mm, of what is scanned with the instruments this tool is for: from a bracket to an aircraft. */
const LEAST_SIZE = 20;
const GREATEST_SIZE = 60_000;
/** Point spacings, mm, that such instruments give. */
const LEAST_SPACING = 0.005;
const GREATEST_SPACING = 100;
/** Two sizes count as one and the same length in two units when they agree this well. */
const SAME_SIZE = 0.25;

/** Size of a scan if its numbers were in a unit. */
export interface UnitCandidate {
  readonly unit: LengthUnit;
  /** Extents along the axes, mm. */
  readonly sizeMm: readonly [number, number, number];
  readonly plausible: boolean;
}

/** Proposal for the unit of a file that does not state one. It is a guess, and to be asked, never applied silently. */
export interface UnitProposal {
  /** `stated`: the file says so. `proposed`: one unit fits best. `open`: none fits. */
  readonly status: 'stated' | 'proposed' | 'open';
  readonly unit: LengthUnit | null;
  /** All units, the proposed one first. */
  readonly candidates: readonly UnitCandidate[];
  /** The question in words, with the size in the proposed unit. */
  readonly question: string;
}

/**
 * Proposes the unit of a scan from its size and its point spacing.
 *
 * Method   the first of mm, m, in, cm, ft whose size lies between 20 mm and 60 m and whose spacing, estimated as the
 *          box's surface over the number of points, lies between 0.005 and 100 mm. With the size of other scans of
 *          the same object, the unit that brings this one nearest to them.
 *
 * @param referenceSizeMm largest extent of other scans of the object, mm
 */
export function unitProposal(
  raw: Pick<RawScan, 'bounds' | 'statedUnit' | 'positions'>,
  referenceSizeMm: number | null = null,
): UnitProposal {
  const { min, max } = raw.bounds;
  const extents: [number, number, number] = [max[0] - min[0], max[1] - min[1], max[2] - min[2]];
  const largest = Math.max(...extents);
  const [a, b, c] = extents;
  const points = raw.positions.length / 3;
  const spacing = Math.sqrt((2 * (a * b + b * c + c * a)) / Math.max(1, points));
  const order: readonly LengthUnit[] = ['mm', 'm', 'in', 'cm', 'ft', 'um'];
  const candidates = order.map((unit): UnitCandidate => {
    const factor = MM_PER_UNIT[unit];
    const size = largest * factor;
    const pitch = spacing * factor;
    return {
      unit,
      sizeMm: [a * factor, b * factor, c * factor],
      plausible:
        unit !== 'um' &&
        size >= LEAST_SIZE &&
        size <= GREATEST_SIZE &&
        (pitch === 0 || (pitch >= LEAST_SPACING && (points < 1000 || pitch <= GREATEST_SPACING))),
    };
  });
  let chosen = candidates.find(({ unit }) => unit === raw.statedUnit);
  const status = chosen ? 'stated' : 'proposed';
  if (!chosen && referenceSizeMm !== null && referenceSizeMm > 0 && largest > 0) {
    const misfit = ({ unit }: UnitCandidate): number =>
      Math.abs(Math.log((largest * MM_PER_UNIT[unit]) / referenceSizeMm));
    const nearest = candidates.reduce((best, candidate) => (misfit(candidate) < misfit(best) ? candidate : best));
    if (misfit(nearest) < SAME_SIZE) chosen = nearest;
  }
  chosen ??= candidates.find(({ plausible }) => plausible);
  if (!chosen) {
    return {
      status: 'open',
      unit: null,
      candidates,
      question: `No unit fits a size of ${sizeText(extents)} file units. Which unit do the numbers have?`,
    };
  }
  const first = chosen;
  const others = candidates.filter((candidate) => candidate !== first);
  return {
    status,
    unit: first.unit,
    candidates: [first, ...others],
    question:
      status === 'stated'
        ? `The file states ${first.unit}: the size is ${sizeText(first.sizeMm)} mm.`
        : `If the numbers are ${first.unit}, the size is ${sizeText(first.sizeMm)} mm. Is that right?`,
  };
}

function sizeText(size: readonly number[]): string {
  return size.map((value) => (value === 0 ? '0' : String(Number(value.toPrecision(4))))).join(' × ');
}
