// Shapes that several modules of the page share. A request and a reply are the engine's: see feedcalc/contract.

/** What `feedcalc.engine.calculate` takes; fields are as typed. */
export type Request = Record<string, any>;

/** A field of a request that the engine refused. */
export interface Refusal {
  field: string;
  given?: string;
  problem: string;
  accepted?: string;
  choices?: { field: string; value: string; text: string }[];
}

/** What the engine answers; `html` holds its own markup, in which everything a person typed is escaped. */
export interface Reply {
  ok: boolean;
  errors: Refusal[];
  warnings: string[];
  html: Record<string, string>;
  values: Record<string, any>;
  assumed: Record<string, string>;
  read_as: Record<string, string>;
  print: { pages: { width: number; height: number }[] };
  /** Whether the next reply brings parts that this one lacks. */
  more?: boolean;
}

export interface Batch {
  id: string;
  name: string;
  request: Request;
  /** Names of the steps that are ticked off. */
  done: string[];
  /** A time; the newer of two copies has the later one. */
  changed: string;
}

/** Batches that came from a file or a link, or the reason why there are none. */
export interface FoundBatches {
  batches?: Batch[];
  unreadable?: boolean;
  problem?: () => string;
}

export type RecordKind = "bed" | "soil test" | "entry" | "ash" | "metals";

export interface WrittenText {
  text: string;
  at: string;
  by: string;
}

/** A record of the season book, as in its file. */
export interface BookRecord {
  id: string;
  kind: RecordKind;
  fields: Record<string, WrittenText>;
  history: (WrittenText & { field: string })[];
}

/** A change of one record that was asked for. */
export interface Change {
  key: string;
  kind: RecordKind;
  id: string;
  fields: Record<string, string>;
  at: string;
  by: string;
}

/** A form of the book that was begun and not finished. */
export interface Draft {
  kind: RecordKind;
  id: string;
  fields: Record<string, string>;
}

export type Field = HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement;

export interface Progress {
  done: number;
  total: number;
}
