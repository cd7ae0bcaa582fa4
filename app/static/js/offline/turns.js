// Work that runs once at a time. Asked for while it runs, it runs once more after, however often it was asked: who asks
// waits for a run that began no earlier than the question.
export function oneAtATime(work) {
  let running = null, next = null;
  const run = () => (running = work().finally(() => { running = null; }));
  const after = () => {
    next = null;
    return run();
  };
  return () => next ?? (running ? (next = running.then(after, after)) : run());
}
