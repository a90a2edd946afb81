// Whoever comes to sign in finds no page of the one before them kept on this device; what waits to be sent stays.

const PAGE = /^\/(?:station|pack)(?:\/|$)/;

try {
  localStorage.removeItem("pack-bench");
} catch {
  // a browser that keeps nothing has nothing to forget
}

if (window.caches) {
  for (const name of (await caches.keys()).filter((each) => each.startsWith("shop-"))) {
    const cache = await caches.open(name);
    for (const request of await cache.keys()) {
      if (PAGE.test(new URL(request.url).pathname)) await cache.delete(request);
    }
  }
}
