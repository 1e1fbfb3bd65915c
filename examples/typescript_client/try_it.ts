// The client tried: a quote, and a request that is refused.

import { ask, RefusedError, type Asked } from "./client.js";

declare const process: { argv: string[]; exitCode?: number };
const service = process.argv[2] ?? "http://127.0.0.1:8000";

function question(amount: number): Asked<"/v1/withdrawal-tax"> {
  return {
    household: {
      people: [
        {
          date_of_birth: "1966-05-14",
          tax_residence: "england",
          income: [{ kind: "employment", amount: 95_000 }],
          pensions: [{ uncrystallised: 400_000 }],
        },
      ],
    },
    tax_year: "2026-27",
    withdrawal: { method: "ufpls", amount, date: "2026-12-01" },
  };
}

try {
  const quote = await ask(service, "/v1/withdrawal-tax", question(20_000), { deadline: 10_000 });
  console.log(`Of £20,000, £${quote.net_after_tax.toLocaleString("en-GB", { minimumFractionDigits: 2 })} is kept.`);
  for (const warning of quote.warnings) console.log(`  ${warning.title}: ${warning.detail}`);
  console.log(quote.notice);
  await ask(service, "/v1/withdrawal-tax", question(500_000));
} catch (error) {
  if (error instanceof RefusedError && error.problem.code === "rule-violation") {
    console.log(`£500,000 cannot be taken: ${error.problem.detail}`);
  } else {
    console.error(String(error));
    process.exitCode = 1;
  }
}
