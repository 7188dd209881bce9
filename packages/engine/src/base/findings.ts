/** `note`: for the record. `warning`: open until answered, marked in every report. `refusal`: no result was given. */
export type Severity = 'note' | 'warning' | 'refusal';

/** Something a person should know about a result, with the thing it concerns and what would cure it. */
export interface Finding {
  readonly severity: Severity;
  /** Stable code, listed in docs/errors.md. */
  readonly code: string;
  /** Id of the scan, frame, tie or result it concerns. */
  readonly subject: string;
  readonly message: string;
  readonly remedy: string;
}

/** Collects findings in the order in which they are made. */
export class FindingList {
  readonly #items: Finding[] = [];

  add(finding: Finding): void {
    this.#items.push(finding);
  }

  get items(): readonly Finding[] {
    return this.#items;
  }
}
