// What may stand in a job, in words: the form is made of this and of what stands in the job file.
//
// A node is a scalar (length, angle, text, flag, choice), some lengths (vector, range), a group of keys, a list, a map
// of named things, or one of several kinds. `begin` gives what a thing that may be left out starts as.

const scalar = (kind) => (label, more = {}) => ({ kind, label, ...more });
const length = scalar('length');
const angle = scalar('angle');
const text = scalar('text');
const flag = scalar('flag');
const choice = (label, options, more = {}) => ({ kind: 'choice', label, options: typeof options === 'function' ? options : () => options, ...more });
const vector = (label, more = {}) => ({ kind: 'vector', label, names: ['X', 'Y', 'Z'], ...more });
const range = (label, more = {}) => ({ kind: 'vector', label, names: ['from', 'to'], ...more });
const group = (label, keys, more = {}) => ({ kind: 'group', label, keys, ...more });
const list = (label, item, more = {}) => ({ kind: 'list', label, item, ...more });

const maybe = { optional: true };
const ENDS = ['front', 'rear'];
const HANDS = ['left', 'right'];
const named = (item, state, i) => item.name || `${i + 1}`;
const first = (state) => state.choices.parts[0] || '';
const free = (word, names) => `new ${word}${names.length ? ` ${names.length + 1}` : ''}`;

// dies that take the tube of the part that a place is in
function dies(state, at) {
  const part = at[0] === 'parts' ? state.written.parts[at[1]] : null;
  return state.choices.dies.filter((die) => !part || !die.tubes || die.tubes.includes(part.tube)).map((die) => die.name);
}
const die = choice('Die', dies, { ...maybe, none: 'chosen by the program' });
const radius = length('Radius', maybe);
const face = (label, more = {}) => choice(label, (state) => state.choices.faces, more);
const tube = choice('Tube', (state) => state.choices.tubes);

const TUBE = group('', {
  height: length('Height', maybe), width: length('Width', maybe), diameter: length('Diameter, if round', maybe), wall: length('Wall'),
  corner: length('Outside corner', maybe), grade: text('Grade', maybe),
  seam_on: choice('Mill puts the seam on a', ['wide', 'narrow'], { ...maybe, none: 'not said' }),
});

const same = (value) => [value, value];
const freePlace = group('The solver may move it', {
  x: range('Along X', { ...maybe, begin: (data) => same(data[0]) }),
  y: range('Along Y', { ...maybe, begin: (data) => same(data[1]) }),
  z: range('Along Z', { ...maybe, begin: (data) => same(data[2]) }),
}, { ...maybe, offer: 'Let the solver move it', begin: (data) => ({ z: same(placeOf(data)[2]) }), from: (data) => placeOf(data) });
const placeOf = (data) => (Array.isArray(data) ? data : data.at || ['0', '0', '0']);

const POINT = group('', { at: vector('Place'), die, radius, free: freePlace }, { dense: true });
const END = group('', { at: vector('Place'), free: freePlace }, { dense: true });

const bendKeys = { toward: face('Toward'), angle: angle('Angle'), die, radius, free: group('The solver may change it', { angle: range('Angle') }, { ...maybe, offer: 'Let the solver change it', begin: (data) => ({ angle: same(data.angle) }) }) };
const offsetFree = group('The solver may change it', {
  by: range('By', { ...maybe, begin: (data) => same(data.by) }), angle: range('Angle', { ...maybe, begin: (data) => same(data.angle) }), over: range('Over', { ...maybe, begin: (data) => same(data.over) }),
}, { ...maybe, offer: 'Let the solver change it', from: (data) => data, begin: (data) => ({ by: same(data.by) }) });
const offsetKeys = { toward: face('Toward'), by: length('By'), angle: angle('Angle', maybe), over: length('Over', maybe), die, radius, free: offsetFree };
const STEP = {
  kind: 'variant',
  label: 'Move',
  kinds: {
    straight: { label: 'straight', node: length('Straight'), begin: () => '10' },
    bend: { label: 'bend', node: group('', bendKeys), begin: (state) => ({ toward: 'top', angle: '20', ...someBend(state) }) },
    offset: { label: 'offset', node: group('', offsetKeys), begin: (state) => ({ toward: 'top', by: state.unit === 'in' ? '4' : '100', angle: '20', ...someBend(state) }) },
  },
  beside: { free: range('The solver may make it', { ...maybe, offer: 'Let the solver change it', begin: (data) => same(data.straight), goes: ['straight'] }) },
};
const someBend = (state) => (state.choices.dies.length ? {} : { radius: state.unit === 'in' ? '7' : '180' });
const ROW = group('', {
  distance: length('Straight before'), rotation: angle('Rotation'), angle: angle('Angle'), die, radius,
  ...Object.fromEntries([['toward', face('Toward, to check', maybe)], ['way', choice('Way, to check', ['hard', 'easy'], maybe)], ['bend', length('Number, to check', maybe)]].map(
    ([key, node]) => [key, { ...node, goes: [] }], // shown where they are written, as in a table that was copied
  )),
  free: group('The solver may change it', {
    distance: range('Straight', { ...maybe, begin: (row) => same(row.distance) }), angle: range('Angle', { ...maybe, begin: (row) => same(row.angle) }),
  }, { ...maybe, offer: 'Let the solver change it', from: (row) => row, begin: (row) => ({ distance: same(row.distance) }) }),
}, { dense: true });
const START = group('Where its front end is', {
  at: vector('Place', { ...maybe, begin: () => ['0', '0', '0'] }), heading: vector('Way it points', { ...maybe, begin: () => ['1', '0', '0'] }),
  top: vector('Where its top looks', { ...maybe, begin: () => ['0', '0', '1'] }), free: freePlace,
}, { ...maybe, begin: () => ({ at: ['0', '0', '0'] }) });

const ends = (items, i) => (i === 0 ? 'front end' : i === items.length - 1 ? 'rear end' : `bend ${i}`);
const PART = group('', {
  tube, hand: choice('Hand', ['single', 'pair'], { ...maybe, none: 'single' }), seam: face('Seam ends up', { ...maybe, none: 'not said' }),
  leading_end: choice('End bent first', ENDS, { ...maybe, none: 'front' }),
  points_at: choice('Points are measured to', ['centre', 'top', 'bottom', 'inside', 'outside'], { ...maybe, none: 'centre', goes: ['points'] }),
  top: vector('Where its top looks at the front end', { ...maybe, begin: () => ['0', '0', '1'], goes: ['points'] }),
  points: list('Points', POINT, {
    ...maybe, goes: ['points'], ends: END, called: (item, state, i, items) => `Point ${i + 1}, ${ends(items, i)}`, least: 2,
    after: (at, i) => ({ op: 'add_point', part: at[1], after: i }),
  }),
  start: { ...START, goes: ['path', 'rows'] },
  path: list('Moves', STEP, { ...maybe, goes: ['path'], called: (item, state, i) => `Move ${i + 1}`, least: 1, fresh: () => ({ straight: '10' }), between: true }),
  rows: list('Bends', ROW, {
    ...maybe, goes: ['rows'], called: (item, state, i) => `Bend ${i + 1}`, between: true,
    fresh: (state) => ({ distance: state.unit === 'in' ? '12' : '300', rotation: '0', angle: '20', ...someBend(state) }),
  }),
  tail: length('Tail', { ...maybe, goes: ['rows'] }),
  free: group('The solver may change the tail', { tail: range('Tail') }, { ...maybe, goes: ['rows'], offer: 'Let the solver change the tail', from: (data) => data, begin: (data) => ({ tail: same(data.tail || '0') }) }),
});

const pairs = (state) => [...state.choices.parts, ...state.choices.labels.filter((label) => !state.choices.parts.includes(label))];
const CROSSMEMBER = group('', {
  tube, between: { kind: 'choices', label: 'Between', options: pairs, names: ['', 'and'] },
  x: length('Station X', maybe), height: length('Height Z', maybe),
  flush: choice('Level with the rails’', ['centre', 'top', 'bottom'], { ...maybe, none: 'not said' }),
  ends: choice('Ends', ['square', 'mitred', 'coped'], { ...maybe, none: 'coped' }),
  points: list('Two points on its axis', vector('Place'), { ...maybe, fixed: true }),
});

const partEnds = (state) => state.choices.labels.flatMap((label) => ENDS.map((end) => `${label}.${end}`));
const JOINT = group('', {
  between: { kind: 'choices', label: 'End', options: partEnds, names: ['', 'meets'] },
  gap: length('Gap at most', maybe), offset: length('Aside at most', maybe), angle: angle('Angle at most', maybe), roll: angle('Roll at most', maybe),
});

const FIT = group('', {
  at: vector('Place'), to: group('', { part: choice('Part', (state) => state.choices.parts), face: face('Face') }),
  gap: group('', { want: length('Gap wanted'), within: length('Within') }),
  on: choice('Stands on', ['straight'], { ...maybe, none: 'anything' }), from_bend: length('From any bend, at least', maybe),
  hand: choice('Hand', HANDS, { ...maybe, none: 'both' }), width: length('Bracket’s width', maybe),
});

const swing = (label) => ({
  kind: 'either', label, optional: true, plain: angle(`${label}, either way`, maybe),
  whole: group(label, { about: group('About', { at: vector('Place', { ...maybe, begin: () => ['0', '0', '0'] }), axis: vector('Axis', { ...maybe, begin: () => ['0', '0', '1'] }) }, { ...maybe, begin: () => ({ axis: ['0', '0', '1'] }) }), from: angle('From'), to: angle('To') }, maybe),
});
const turns = { ...swing('Turn').whole, label: 'Turn', optional: true, begin: () => ({ about: { axis: ['0', '0', '1'] }, from: '-30', to: '30' }) };
const slide = group('Slide', { along: vector('Along'), from: length('From'), to: length('To') }, { ...maybe, begin: () => ({ along: ['1', '0', '0'], from: '0', to: '1' }) });
const MOTION = group('', {
  up: length('Up', maybe), down: length('Down', maybe), roll: swing('Roll'),
  pivot: vector('Pivot', { ...maybe, begin: () => ['0', '0', '0'] }), turns, slide,
  with: group('Runs together with another', Object.fromEntries([['turns', 'Turn'], ['roll', 'Roll'], ['slide', 'Slide'], ['up', 'Up and down']].map(
    ([key, label]) => [key, choice(`${label} with`, ['turns', 'roll', 'slide', 'up'].filter((other) => other !== key), { ...maybe, none: 'on its own' })],
  )), { ...maybe, offer: 'Let one travel run with another', begin: (data) => ({ [data.roll ? 'roll' : data.turns ? 'turns' : 'slide']: 'up' }) }),
});

const round = group('', { from: vector('From'), to: vector('To'), diameter: length('Diameter') });
const across = (state) => (state.unit === 'in' ? '4' : '100');
const O = () => ['0', '0', '0'];
const along = (state) => ({ from: O(), to: ['0', across(state), '0'], diameter: across(state) });
const SHAPE = {
  kind: 'variant',
  label: 'Kind',
  kinds: {
    cylinder: { label: 'cylinder', node: round, begin: along },
    box: { label: 'box', node: group('', { at: vector('Middle'), size: vector('Size'), turn: vector('Turned, degrees', { ...maybe, begin: O }) }), begin: (state) => ({ at: O(), size: [across(state), across(state), across(state)] }) },
    sphere: { label: 'ball', node: group('', { at: vector('Middle'), diameter: length('Diameter') }), begin: (state) => ({ at: O(), diameter: across(state) }) },
    capsule: { label: 'capsule', node: round, begin: along },
    mesh: { label: 'mesh file', node: choice('File', (state) => state.choices.meshes), begin: (state) => state.choices.meshes[0] || '', with: { units: 'mm' } },
  },
  beside: {
    units: choice('Its numbers are', ['in', 'mm', 'cm', 'm', 'ft'], { goes: ['mesh'] }),
    place: group('Placed', { at: vector('At', { ...maybe, begin: O }), turn: vector('Turned, degrees', { ...maybe, begin: O }) }, { ...maybe, goes: ['mesh'], begin: () => ({ at: O() }) }),
  },
};
const KEEP = group('', {
  name: text('Name'), gap: length('Least gap', maybe), mirror: flag('On the other side too', maybe), shape: SHAPE,
  motion: choice('Moves with', (state) => state.choices.motions, { ...maybe, none: 'nothing shared' }),
  moves: group('Own travel', { up: length('Up', maybe), down: length('Down', maybe), roll: swing('Roll'), slide }, { ...maybe, begin: () => ({ up: '1', down: '1' }) }), turns,
});

const flat = { names: ['X', 'Y'] };
const PLATE = group('', {
  name: text('Name'), thickness: length('Thickness'), grade: text('Grade', maybe), count: text('How many', maybe), corner: length('Corner radius', maybe),
  size: vector('Size', { ...maybe, ...flat, names: ['wide', 'high'], goes: ['size'] }),
  outline: list('Corners', group('', { at: vector('Place', flat), corner: length('Radius', maybe) }, { dense: true }), { ...maybe, goes: ['outline'], called: (item, state, i) => `Corner ${i + 1}`, least: 3, between: true, fresh: () => ['0', '0'] }),
  gusset: group('Gusset', { between: { kind: 'texts', label: 'Face', names: ['', 'and'] }, legs: vector('Legs', { names: ['first', 'second'] }), angle: angle('Angle', maybe), clip: length('Clip', maybe), at: vector('Near', { ...maybe, begin: O }) }, { ...maybe, goes: ['gusset'] }),
  holes: list('Holes', group('', { at: vector('Place', flat), diameter: length('Diameter') }, { dense: true }), { ...maybe, called: (item, state, i) => `Hole ${i + 1}`, fresh: (state) => ({ at: ['0', '0'], diameter: state.unit === 'in' ? '1/2' : '13' }) }),
  place: group('Where it is', { at: vector('At'), normal: vector('Its face looks'), up: vector('Its top looks', { ...maybe, begin: () => ['0', '0', '1'] }) }, { ...maybe, begin: () => ({ at: O(), normal: ['0', '0', '1'] }) }),
  mirror: flag('On the other side too', maybe),
});

const inches = (state, imperial, metric) => (state.unit === 'in' ? imperial : metric);
const fresh = (word, more) => (state, items) => ({ name: free(word, items), ...more(state) });

// the groups of the page, in order: a place in the job file each
export const GROUPS = [
  { id: 'job', title: 'Job', at: [], node: group('', {
    job: text('Name of the job'), revision: text('Revision', maybe), customer: text('Customer', maybe), address: text('Address', maybe),
    note: text('Note', maybe), units: choice('Bare numbers are', ['in', 'mm']), datum: text('Datum', maybe), tolerances: text('Tolerances', maybe),
    angles_to: choice('Solved angles land on', ['1', '0.5'], { ...maybe, none: 'any angle' }),
  }) },
  { id: 'shop', title: 'Shop and dies', at: [], node: group('', {
    shop: choice('Shop file', (state) => state.choices.shops, { ...maybe, none: 'none', op: (value) => ({ op: 'shop', file: value || null }) }),
    dies: { kind: 'dies' },
  }) },
  { id: 'tubes', title: 'Tubes', at: ['tubes'], node: {
    kind: 'map', item: TUBE, what: 'tube', adds: [['Add a tube', (state, names) => ({ op: 'add_tube', name: free('tube', names), height: inches(state, '3', '80'), width: inches(state, '2', '40'), wall: inches(state, '3/16', '3'), corner: '' })]],
  } },
  { id: 'parts', title: 'Parts', at: ['parts'], node: list('', PART, {
    called: named, what: 'part', rename: 'part', adds: [['points', 'Add a part by points'], ['path', 'Add a part by moves'], ['rows', 'Add a part by bend rows']].map(
      ([way, label]) => [label, (state, items) => ({ op: 'add_part', name: free('part', items), tube: state.choices.tubes[0], hand: 'single', way })],
    ),
  }) },
  { id: 'crossmembers', title: 'Crossmembers', at: ['crossmembers'], node: list('', CROSSMEMBER, {
    called: named, what: 'crossmember', rename: 'crossmember', fresh: fresh('crossmember', (state) => ({ tube: state.choices.tubes[0], between: [first(state)], x: '0' })), add: 'Add a crossmember',
  }) },
  { id: 'joints', title: 'Joints', at: ['joints'], node: list('', JOINT, {
    called: (item, state, i) => `Joint ${i + 1}`, add: 'Add a joint',
    fresh: (state) => ({ between: [`${state.choices.labels[0]}.rear`, `${state.choices.labels[state.choices.labels.length - 1]}.front`], gap: inches(state, '1/16', '2') }),
  }) },
  { id: 'fit_points', title: 'Fit points', at: ['fit_points'], node: list('', FIT, {
    called: named, what: 'fit point', rename: 'fit point', add: 'Add a fit point',
    fresh: fresh('fit point', (state) => ({ at: O(), to: { part: first(state), face: 'bottom' }, gap: { want: inches(state, '1', '25'), within: inches(state, '1/8', '3') } })),
  }) },
  { id: 'motions', title: 'Shared travel', at: ['motions'], node: {
    kind: 'map', item: MOTION, what: 'motion', adds: [['Add a travel', (state, names) => ({ op: 'set', at: ['motions', free('travel', names)], value: { up: '1', down: '1' } })]],
  } },
  { id: 'keep_clear', title: 'Keep clear of', at: ['keep_clear'], node: list('', KEEP, {
    called: named, add: 'Add a shape', fresh: fresh('shape', (state) => ({ shape: { box: { at: O(), size: [across(state), across(state), across(state)] } }, gap: inches(state, '1', '25') })),
  }) },
  { id: 'plumb', title: 'Where the top must look up', at: ['plumb'], node: list('', group('', {
    name: text('Name', maybe), part: choice('Part', (state) => state.choices.parts), x: length('Station X'), within: angle('Within', maybe),
  }), { called: (item, state, i) => item.name || `Place ${i + 1}`, add: 'Add a place', fresh: (state) => ({ part: first(state), x: '0' }) }) },
  { id: 'plates', title: 'Plates', at: ['plates'], node: list('', PLATE, {
    called: named, add: 'Add a plate', fresh: fresh('plate', (state) => ({ thickness: inches(state, '1/4', '6'), size: [inches(state, '4', '100'), inches(state, '4', '100')] })),
  }) },
  { id: 'flat', title: 'Templates and sheets', at: [], node: group('', {
    templates: group('Bend-check templates', { beyond: length('Straight either side'), depth: length('Depth', maybe) }, { ...maybe, begin: (data, state) => ({ beyond: inches(state, '6', '150') }) }),
    nesting: group('Sheets for plates', { sheet: vector('Sheet', { names: ['long', 'wide'] }), gap: length('Between plates'), edge: length('From the edge', maybe) }, { ...maybe, begin: (data, state) => ({ sheet: inches(state, ['96', '48'], ['2500', '1250']), gap: inches(state, '3/8', '8') }) }),
  }) },
];
