// Every word the pages add of their own, in one place, so that another language
// is another file of this shape. Sentences that come from the daemon (advice,
// reasons, warnings, settings) are shown as they come: numbers and units are
// formatted there, so that tablet, shoot log and terminal agree to the digit. What is made of
// fixed words (a light's name, a change of power, a target) goes through T.said, so that the board speaks
// the page's language. A test holds every language against the keys here.

const plural = (n, one, many) => (n === 1 ? one : many);

export const T = {
  name: 'thirdstop',
  screens: { now: 'Now', frames: 'Frames', lights: 'Lights', past: 'Over time', log: 'Shoot log', plan: 'Light plan', walk: 'Set-up', devices: 'Devices', more: 'More' },
  said: {
    light: (light) => light.name || light, // a light, or its name
    change: (text) => text,
    level: (text) => text,
    region: (name) => name,
    headline: (text) => text,
  },
  nav: 'Screens',
  skip: 'Skip to the advice',

  link: {
    opening: 'Connecting …',
    up: 'connected',
    stale: (s) => `Not connected since ${ago(s)}. What you see is old.`,
    lost: 'Not connected. What you see is old.',
    retry: 'Try now',
    aged: (s) => `old by ${ago(s)}`,
    measuring: (n) => `measuring ${n} ${plural(n, 'frame', 'frames')} …`,
    latency: (ms) => `${ms} ms from file to advice`,
  },

  advice: {
    old: 'No current advice',
    label: 'Advice',
    opening: 'One moment',
    waiting: 'Take a frame',
    hold: 'Hold',
    look: 'First put this right',
    noPlanGo: 'Give three answers',
    guess: 'first guess',
    guessWhy: 'which light does what is still assumed',
    provisional: 'by the preview',
    provisionalWhy: 'the frame itself is being measured',
    atLeast: 'at least',
    atLeastWhy: 'something clips, it may take more',
    set: 'set',
    was: (t) => `now ${t}`,
    done: 'I set it',
    doneFor: (light, to) => `I set it: ${light} to ${to}`,
    notNow: 'Not now',
    from: (n) => `from frame ${n}`,
    ways: 'Or instead:',
    price: (p) => `price: ${p}`,
    blocks: 'First:',
    note: 'Note:',
    recording: 'recording …',
  },

  question: { label: 'Question', yes: 'Yes', no: 'No', expires: (n) => `stands until frame ${n}` },

  frame: {
    label: 'Newest frame',
    none: 'No frame yet.',
    title: (n) => `Frame ${n}`,
    alt: (n) => `Frame ${n} as the camera made it`,
    noPicture: 'No picture of this frame is kept. Its regions are drawn alone.',
    onTarget: 'on target',
    off: 'off target',
    provisional: 'preview reading; the full one follows',
    approximate: 'approximate reading',
    legend: 'Marks on the frame',
    backdrop: 'backdrop',
    reference: 'white reference',
    found: 'found, not declared: causes no advice',
    clipSitter: (p) => `ripples: clipped on the sitter, ${p}`,
    clipBackdrop: (p) => `ripples: clipped backdrop, ${p}`,
    clipMeant: (p) => `dots: backdrop over the edge, as meant, ${p}`,
    clipNone: 'nothing clips',
    tiny: 'under 0.1 %',
    mark: 'Mark a white reference',
    markHelp: 'Tap the white card or shirt, or draw a box round it. Arrow keys move the box, + and − size it.',
    use: 'Use this',
    cancel: 'Cancel',
    clear: 'Take the mark back',
    baseline: () => 'Make it the baseline',
    isBaseline: 'This is the baseline.',
    baselineAt: (n) => `Baseline: frame ${n}`,
    draw: 'Box for the white reference',
  },

  staff: {
    label: 'Stops to clipping',
    edge: '0 is the edge of clipping',
    now: 'now',
    then: 'then',
    aim: 'target',
    inTarget: 'on target',
    over: 'over its target',
    under: 'under its target',
    none: 'Nothing is judged yet.',
    say: (e, where) => `${e.name}: now ${e.now_text}, ${where}; target ${e.target_text}` +
      (e.then_text ? `; then ${e.then_text}` : ''),
    measured: 'Measured, with nothing to hold it against:',
  },

  spread: {
    label: 'spread',
    sitter: 'sitter',
    unseen: 'not in the frame',
    say: (clipped, middle) => `${clipped} clipped, half of it under ${middle} stops`,
  },

  frames: {
    reel: 'Frames, the newest first',
    pick: (n, how) => `Frame ${n}${how ? `, ${how}` : ''}`,
    compare: 'Compare two',
    baseline: (n) => `Make frame ${n} the baseline`,
    base: '(baseline)',
    against: (n) => `against frame ${n}`,
    older: 'Older',
  },

  lights: {
    label: 'Lights',
    none: 'No lights are known yet. The light plan names them.',
    down: (light) => `${light}: power down one click`,
    up: (light) => `${light}: power up one click`,
    off: 'Off',
    on: 'On',
    turnOff: (light) => `${light} is on. Record that it was switched off`,
    turnOn: (light) => `${light} is off. Record that it was switched on`,
    soon: 'recorded in a moment',
    saving: 'recording …',
    saved: 'recorded',
    advised: (t) => `advice: ${t}`,
    unknown: 'not known',
    isOff: 'switched off',
  },

  rig: {
    distance: (unit) => `Distance, ${unit}`,
    zoom: 'Zoom, mm',
    modifier: 'Modifier',
    shares: 'What makes the light',
    noShares: 'Known after the first frame under a plan.',
    ambient: 'room',
    assumed: 'assumed',
    foretold: (n) => `Frame ${n}, foretold and measured`,
    expected: 'foretold',
    measured: 'measured',
    apart: 'apart',
    hidden: 'hidden by clipping',
    above: 'Seen from above',
    aboveHelp: 'Drag a light to where it stands, or move it with the arrow keys. Dashed: not told yet.',
    bearing: (d) => (d === 0 ? 'at the camera' : d === 180 ? 'behind the sitter' : d < 0 ? `${-d}° to the camera’s left` : `${d}° to the camera’s right`),
    stands: (light, far, d) => `${light}: ${far}${d === null ? ', its side is not told' : `, ${T.rig.bearing(d)}`}`,
  },

  past: {
    none: 'Nothing has been measured yet.',
    closer: 'Show fewer frames',
    wider: 'Show more frames',
    all: 'Whole shoot',
    help: 'Stops to clipping and the lights’ settings, frame by frame. Pinch, wheel or + and − show fewer or more frames, dragging others; arrow keys go from frame to frame, 0 shows all.',
    baseline: 'baseline',
    turned: 'a light was turned',
    turnedSince: (groups) => `Turned since the frame before: ${groups}`,
    drift: 'drift',
  },

  log: {
    label: 'Last events',
    all: 'Whole shoot log',
    none: 'Nothing has happened yet.',
    note: 'Note',
    notePlace: 'What should be remembered?',
    addNote: 'Write it down',
    sitter: 'Next sitter',
    sitterPlace: 'Name or number',
    addSitter: 'Seat them',
    sheet: 'Sheet of this shoot',
    sheetWhy: 'one page to print and keep',
    end: 'End the shoot',
    endSure: 'The shoot log closes. Frames that arrive later begin another shoot.',
    endYes: 'End it',
  },

  plan: {
    begin: 'Three answers',
    beginWhy: 'They are enough for a first advice. Everything can be changed later.',
    q1: 'What is behind the sitter?',
    white: 'white, to be pure white',
    grey: 'grey',
    black: 'black',
    coloured: 'coloured',
    q2: 'How many lights, and what for?',
    count: (n) => `${n} ${plural(n, 'light', 'lights')}`,
    role: 'does',
    group: 'group',
    roles: { key: 'key', fill: 'fill', background: 'background', hair: 'hair' },
    q3: 'What does each dial say now?',
    dialHelp: 'As the flash shows it: 1/8 + 1/3, 1/16, 1/4 + 0.7. A dial that counts in numbers: 7.3.',
    dialOf: (light) => `Dial of ${light}`,
    clicks: 'One click of the dial is',
    top: 'at full power it says',
    clickOf: { '': 'as the dial’s text suggests', thirds: 'a third of a stop', tenths: 'a tenth of a stop' },
    go: 'Begin advising',
    text: 'The light plan as written',
    example: 'Everything that can stand in a plan, explained',
    byHand: 'Or write the whole plan',
    check: 'Check',
    use: 'Use this plan',
    fine: 'No faults.',
    faults: (n) => `${n} ${plural(n, 'fault', 'faults')}`,
    unusual: 'Unusual, though possible',
    line: (n) => `line ${n}`,
    used: 'The plan is in use.',
    fresh: 'Answer the three questions again',
    back: 'Back to the written plan',
    newer: 'Someone changed the plan meanwhile. Your text is kept here; theirs is in use.',
    takeTheirs: 'Show theirs',
    reach: 'What power will each light need?',
    reachAt: (camera) => `At ${camera}:`,
    reachLearned: 'From what earlier shoots taught of it.',
    reachMends: 'Any one of these would do:',
    reachCare: 'These are estimates; the first frames tell. What a flash and its modifier stand for long is in the maker’s manual.',
  },

  walk: {
    noPlan: 'The set-up goes through the lights of the plan one at a time. There is no plan yet.',
    why: 'The light is built up one lamp at a time: the room alone, each light alone, all together, a colour chart. Each step says what to switch and set; the next frame is its answer. Steps can be skipped and redone. At the end stands a baseline, and what each light does is known.',
    care: 'Test flashes come at odd moments. Tell everybody in the room, ask who is troubled by flashing light, and let nobody look into a flash from near.',
    begin: 'Begin the set-up',
    again: 'Set up again from the beginning',
    doneWith: (n) => `The set-up is done. Frame ${n} is the baseline.`,
    doneWithout: 'The set-up is done. No frame was made the baseline.',
    count: (n, of) => `Step ${n} of ${of}`,
    asks: 'How the lights should stand',
    on: 'on',
    off: 'off',
    changed: 'change',
    verdicts: { good: 'Good.', turn: 'Turn.', doubt: 'Look again.', missing: 'Not seen.', stuck: 'Out of reach.' },
    from: (n) => `Frame ${n}`,
    skip: 'Skip this step',
    leave: 'Leave the set-up',
    redo: 'Redo',
    redoOf: (step) => `Redo: ${step}`,
    all: 'All steps',
    skipped: 'skipped',
    waits: 'waits for a frame',
    later: 'later',
  },

  pair: {
    title: 'Pair this device',
    why: 'Whoever runs the shoot makes a code, for one device and two minutes.',
    code: 'Code',
    name: 'What to call this device',
    namePlace: 'tablet at the lights',
    go: 'Pair',
    asking: 'Asking …',
  },

  devices: {
    you: 'This device',
    role: 'Role',
    roles: { shoots: 'shoots', lights: 'at the lights', looks: 'looks on' },
    rolesWhy: {
      shoots: 'everything, also the plan, devices and the end of the shoot',
      lights: 'adjustments, settings and notes',
      looks: 'sees the page and changes nothing',
    },
    add: 'Add a device',
    for: 'What may it do?',
    open: 'thirdstop answers this machine alone, so there is nothing to pair. Start it with --listen to let tablets in.',
    make: 'Make a code',
    codeFor: (role) => `for a device that ${role}`,
    codeLeft: (s) => `good for ${s} s, once`,
    codeOver: 'The code is over. Make another.',
    openAt: 'On the other device, open',
    list: 'Paired devices',
    nobody: 'No device is paired. This machine needs none.',
    paired: (t) => (t.startsWith('0001') ? '' : `since ${day(t)}`),
    revoke: 'Revoke',
    revokeOf: (n) => `Revoke ${n}`,
    revokeSure: (n) => `${n} loses its access at once.`,
    keep: 'Keep it',
    theme: 'Light in the room',
    dim: 'dim room',
    light: 'bright room',
    language: 'Language',
    languageWhy: 'The board, the marks and the settings are in it. Reasons, notes, the shoot log and the plan’s messages come from the daemon, in English.',
    unit: 'Distances in',
    units: { m: 'metres', ft: 'feet' },
    tell: 'When there is something new to turn',
    sound: 'two soft notes',
    shake: 'a short shake',
    keyboard: 'Keyboard',
    keys: 'The digits 1 to 8 choose a screen',
    squares: 'The address as a code for the camera of the other device',
    plain: 'Plain HTTP',
    plainWhy: 'Everybody on this network can read along, and the browser keeps no screen on and installs no app. Start thirdstop with --https to have both.',
    awake: 'Keeping the screen on',
    awakeYes: 'The screen is kept on while this page is in front.',
    awakeNo: 'Over plain HTTP a browser lets the screen sleep. Set the tablet’s own auto-lock to “never” for the shoot.',
  },

  demo: {
    label: 'The virtual studio',
    why: 'Turn a light as the assistant would. The daemon is not told; it sees the next frame.',
    on: 'lit',
    power: (light) => `Power of ${light}`,
    distance: (light) => `Distance of ${light} in metres`,
    metres: 'm',
    shoot: 'Take a frame',
    auto: 'a frame every few seconds',
    follow: 'Turn as advised',
    open: 'Turn the lights',
    close: 'Fold up',
  },

  care: {
    short: 'Hot heads, stands, mains, flash near eyes: the maker’s manual decides.',
    more: [
      'Flash tubes, modelling lamps and metal fittings stay hot after use. Switch off, unplug and let them cool before touching or covering them. Keep paper, cloth and gels at the distance the maker’s manual gives.',
      'Never open a flash or power pack. Its capacitors can hold a lethal charge long after it is unplugged. Leave repair to the maker’s service.',
      'Count full-power flashes and pauses. The limits here are estimates; the manual of your unit decides. Stop at a smell, smoke, or a heat warning.',
      'Use the cells and chargers the manual names. Do not mix old and new cells; take out any that are hot, swollen or leaking.',
      'Lower a stand before changing its load, put a leg under the load, weigh it down, and clip overhead items with a second line.',
      'Plug mains heads into a socket protected by a residual-current device. Keep leads untangled, dry and taped down. Fixed wiring is a licensed electrician’s work under local code.',
      'Ask every sitter before the session whether flashing light troubles them. Warn before test flashes, avoid bursts, and stop at once if someone feels unwell. Do not fire close to the eyes.',
      'This program only advises. It does not control lights, and nothing it says replaces the manual, local rules or your own judgement.',
    ],
  },

  looks: {
    barred: 'Not open to you yet',
    title: 'Newest frame',
  },

  failed: {
    offline: 'Not recorded: the daemon cannot be reached. Try again once connected.',
    stale: 'Something changed meanwhile, so this was not recorded. Look at the new state and decide again.',
    other: 'Not recorded.',
    page: 'This screen could not be fetched. Load the page again once connected.',
    dismiss: 'Dismiss',
  },
};

// ago says how long ago something was, in words short enough for a heading.
export function ago(s) {
  if (s < 90) return `${Math.max(0, Math.round(s))} s`;
  if (s < 5400) return `${Math.round(s / 60)} min`;
  return `${Math.round(s / 3600)} h`;
}

// percent writes a share of a region: small but present never reads as nothing.
export function percent(share) {
  if (!(share > 0)) return '0 %';
  if (share < 0.001) return T.frame.tiny;
  return `${(share * 100).toFixed(share < 0.1 ? 1 : 0)} %`;
}

// clock writes the time of day of an RFC 3339 time as this device tells it.
export function clock(text) {
  const d = new Date(text);
  return Number.isNaN(d.getTime()) ? '' : d.toLocaleTimeString([], { hour: '2-digit', minute: '2-digit', second: '2-digit', hourCycle: 'h23' });
}

const day = (text) => new Date(text).toLocaleDateString([], { day: 'numeric', month: 'long' });
