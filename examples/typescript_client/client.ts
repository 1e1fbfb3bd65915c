// A client for programs in TypeScript: every question typed, sent again where that can help, with one deadline, and problems as
// exceptions. The types are those of agreement.ts, which is made from the agreement. It needs fetch and nothing else.
//
// A page in a browser must not hold a key. There this belongs into the page's own server.

import type { components, paths } from "./agreement.js";

export type Problem = components["schemas"]["Problem"];

type Questions = {
  [Path in keyof paths]: paths[Path] extends {
    post: { requestBody: { content: { "application/json": infer Asked } }; responses: { 200: { content: { "application/json": infer Told } } } };
  }
    ? { asked: Asked; told: Told }
    : never;
};
/** The paths at which a question is asked, such as "/v1/withdrawal-tax". */
export type Question = { [Path in keyof Questions]: Questions[Path] extends never ? never : Path }[keyof Questions];
export type Asked<Path extends Question> = Questions[Path]["asked"];
export type Told<Path extends Question> = Questions[Path]["told"];

/** The service says why there is no answer. */
export class RefusedError extends Error {
  constructor(readonly problem: Problem) {
    super(`${problem.title}: ${problem.detail}`);
  }
}

/** No answer came by the deadline. */
export class NoAnswerError extends Error {}

export interface Settings {
  key?: string;
  /** The most milliseconds that a call may take, with all its tries and pauses. */
  deadline?: number;
  /** Parts to add to the answer, such as "charts". */
  include?: string[];
}

const SEND_AGAIN = [408, 429, 502, 503, 504];
const LONGEST_PAUSE = 10_000;

/** Ask a question. Sending it again is always safe: the service stores nothing, and the same request has the same answer. */
export async function ask<Path extends Question>(
  service: string,
  path: Path,
  request: Asked<Path>,
  { key, deadline = 60_000, include = [] }: Settings = {},
): Promise<Told<Path>> {
  const end = Date.now() + deadline;
  const url = service + path + (include.length ? `?include=${include.join(",")}` : "");
  const headers = { "Content-Type": "application/json", ...(key ? { Authorization: `Bearer ${key}` } : {}) };
  for (let tries = 1, ownFaults = 0; ; tries += 1) {
    let pause = Math.min(LONGEST_PAUSE, 250 * 2 ** tries) * (0.5 + Math.random() / 2);
    let why: string;
    try {
      const signal = AbortSignal.timeout(Math.max(1, end - Date.now()));
      const answer = await fetch(url, { method: "POST", headers, body: JSON.stringify(request), signal });
      if (answer.ok) return (await answer.json()) as Told<Path>;
      ownFaults += answer.status === 500 ? 1 : 0;
      if (!SEND_AGAIN.includes(answer.status) && ownFaults !== 1) throw await refusal(answer);
      why = `status ${answer.status}`;
      const named = answer.headers.get("Retry-After") ?? "";
      if (/^\d+$/.test(named)) pause = 1000 * Number(named);
    } catch (error) {
      if (error instanceof RefusedError) throw error;
      why = `the connection failed (${error})`;
    }
    if (Date.now() + pause >= end) throw new NoAnswerError(`No answer to ${path} within ${deadline} ms: ${why}.`);
    await new Promise((resolve) => setTimeout(resolve, pause));
  }
}

async function refusal(answer: Response): Promise<RefusedError> {
  if (answer.headers.get("Content-Type")?.startsWith("application/problem+json")) {
    return new RefusedError((await answer.json()) as Problem);
  }
  const detail = "This is no answer of the service. Something in front of it refuses, or the address is not its own.";
  const title = `Status ${answer.status}`;
  return new RefusedError({ type: "about:blank", title, status: answer.status, detail, code: "not-of-the-service", errors: [] });
}
