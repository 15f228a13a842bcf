// The options of a run that a form has (see run_options.html), as the page sends them.

const numberOf = (field) => (field.value === "" ? null : Number(field.value));

export function runOptions(fields) {
  return {
    port: fields.port.value,
    countdown: Number(fields.countdown.value),
    skip_sweep: fields.skip_sweep.checked,
    ask_before_moving: fields.ask_before_moving.checked,
    tether: fields.tether.checked,
    pause_minutes: numberOf(fields.pause_minutes),
    pause_wh: numberOf(fields.pause_wh),
  };
}
