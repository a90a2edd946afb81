// A code that is scanned anywhere leads to what has it; what is no code leads nowhere.
import { listen } from "./scanner.js";

listen(
  (code, { repeated }) => {
    if (!repeated) location.assign(`/search?q=${encodeURIComponent(code)}`);
  },
  { onText: () => {} },
);
