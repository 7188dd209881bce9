import {
  type Finding,
  FormatError,
  type LengthUnit,
  type RawScan,
  type UnitProposal,
  type UnitSource,
  unitProposal,
} from '@lapjoint/engine';

/** A question for the length unit of a file that does not state it. */
export interface UnitQuestion {
  readonly file: string;
  readonly proposal: UnitProposal;
}

/** How units are settled: by a statement, by the file, or by asking. */
export interface UnitPolicy {
  /** What a person stated for all files. */
  readonly stated: LengthUnit | null;
  /** Asks a person; null when nobody can be asked, or no answer came. */
  readonly ask: ((question: UnitQuestion) => Promise<LengthUnit | null>) | null;
  /** Largest extent of scans already in the job, mm. */
  readonly referenceSize: number | null;
}

/** A unit, and who said so. */
export interface SettledUnit {
  readonly unit: LengthUnit;
  readonly unitSource: UnitSource;
}

/**
 * The unit of what was read: as a person stated it, else as the file does, else as a person answers. Never guessed.
 *
 * @param findings gets a warning when a person overrules the file
 * @throws FormatError `unit-unknown` with the proposal, when nobody says
 */
export async function settleUnit(
  raw: Pick<RawScan, 'name' | 'bounds' | 'statedUnit' | 'positions'>,
  path: string,
  units: UnitPolicy,
  findings: Finding[],
): Promise<SettledUnit> {
  if (units.stated !== null) {
    if (raw.statedUnit !== null && raw.statedUnit !== units.stated) {
      findings.push({
        severity: 'warning',
        code: 'unit-overruled',
        subject: raw.name,
        message: `The file states ${raw.statedUnit}, but ${units.stated} was stated for it and is used.`,
        remedy: 'If the file is right, undo and add it again without a unit.',
      });
    }
    return { unit: units.stated, unitSource: 'user' };
  }
  if (raw.statedUnit !== null) return { unit: raw.statedUnit, unitSource: 'file' };
  const proposal = unitProposal(raw, units.referenceSize);
  const answer = (await units.ask?.({ file: path, proposal })) ?? null;
  if (answer !== null) return { unit: answer, unitSource: 'user' };
  throw new FormatError(
    'unit-unknown',
    `${raw.name} does not state its length unit, and none was given.`,
    proposal.unit === null
      ? `${proposal.question} State it with --unit.`
      : `Proposed: --unit ${proposal.unit}. ${proposal.question}`,
    { file: path },
  );
}
