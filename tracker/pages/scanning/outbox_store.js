/* Where the outbox keeps what waits: IndexedDB, which outlives the page; what that does not take, the page's own memory.
 *
 *   const store = openStore(onTrouble);
 *   await store.add(entry)           kept when it resolves
 *   await store.first(most)          the oldest entries that are not finished
 *   await store.finish(entries, told)  they are dealt with; what is `told` of them is kept until somebody has seen it
 *   await store.summary()            { count, oldest, told }: how many wait, since when, and what was not seen yet
 *   await store.all()                what waits, the oldest first
 *   await store.seen(id)
 *   store.inMemory()                 how many entries a reload would lose
 *
 * onTrouble(true): the browser keeps nothing (private mode, a full disk); onTrouble(false): it keeps again.
 */

const NAME = "outbox";
const PATIENCE_MS = 5000;
const VERSION = 1; // what an older program wrote is sent by the next: an entry says itself where it goes and with what

export function openStore(onTrouble) {
  const memory = []; // younger than all that is in the database
  const notes = new Map(); // what was told, likewise
  const finished = new Set(); // a disk that is full may refuse to delete, too
  let isTrouble = false;
  let opened = null;

  // What could not be opened, or was closed under the page (its data were cleared, the disk went away), is tried anew.
  function database() {
    opened ??= open().then(watch, failed);
    return opened;
  }

  function watch(found) {
    found.onclose = () => (opened = null);
    found.onversionchange = () => found.close();
    return found;
  }

  function failed(error) {
    opened = null;
    trouble(true);
    throw error;
  }

  function trouble(isNow) {
    if (isNow !== isTrouble) onTrouble((isTrouble = isNow));
  }

  async function run(mode, work) {
    return transact(await database(), mode, work);
  }

  async function add(entry) {
    try {
      if (memory.length) throw new Error("what is in memory goes first");
      await run("readwrite", ({ waiting }) => [waiting.add(entry)]);
      trouble(false);
    } catch {
      memory.push(entry);
      trouble(true);
    }
  }

  async function first(most) {
    const [kept] = await run("readonly", ({ waiting }) => [waiting.getAll(null, most + finished.size)]).catch(() => [[]]);
    return [...kept.filter(({ id }) => !finished.has(id)), ...memory].slice(0, most);
  }

  async function all() {
    const [kept] = await run("readonly", ({ waiting }) => [waiting.getAll()]).catch(() => [[]]);
    return [...kept.filter(({ id }) => !finished.has(id)), ...memory];
  }

  async function finish(entries, told) {
    const ids = new Set(entries.map(({ id }) => id));
    memory.splice(0, memory.length, ...memory.filter(({ id }) => !ids.has(id)));
    const kept = entries.filter(({ n }) => n !== undefined);
    if (!told.length && !kept.length) return;
    try {
      await run("readwrite", ({ waiting, told: tells }) => [...told.map((each) => tells.put(each)), ...kept.map(({ n }) => waiting.delete(n))]);
    } catch {
      for (const { id } of kept) finished.add(id);
      for (const each of told) notes.set(each.id, each);
    }
  }

  async function summary() {
    const ask = ({ waiting, told }) => [waiting.count(), told.getAll()];
    const [count, kept] = await run("readonly", ask).catch(() => [finished.size, []]);
    const told = [...kept, ...notes.values()].sort((one, other) => one.read - other.read);
    return { count: count - finished.size + memory.length, oldest: (await first(1))[0]?.read, told };
  }

  async function seen(id) {
    notes.delete(id);
    await run("readwrite", ({ told }) => [told.delete(id)]).catch(() => {});
  }

  return { add, first, all, finish, summary, seen, inMemory: () => memory.length };
}

async function open() {
  const asked = indexedDB.open(NAME, VERSION);
  asked.onupgradeneeded = () => {
    asked.result.createObjectStore("waiting", { keyPath: "n", autoIncrement: true });
    asked.result.createObjectStore("told", { keyPath: "id" });
  };
  await end(asked, "onsuccess");
  return asked.result;
}

// Strict: when it is told, it is on the disk.
async function transact(database, mode, work) {
  const transaction = database.transaction(["waiting", "told"], mode, { durability: "strict" });
  const done = end(transaction, "oncomplete");
  const asked = work({ waiting: transaction.objectStore("waiting"), told: transaction.objectStore("told") });
  transaction.commit(); // a page that is being left still writes what it has begun
  await done;
  return asked.map(({ result }) => result);
}

// A disk that says nothing is taken as one that keeps nothing; what it keeps after all has the same id and counts once.
function end(request, event) {
  return new Promise((resolve, reject) => {
    setTimeout(() => reject(new Error("no answer")), PATIENCE_MS);
    request[event] = resolve;
    request.onerror = () => reject(request.error ?? new Error("not kept"));
    request.onabort = () => reject(request.error ?? new Error("not kept"));
  });
}
