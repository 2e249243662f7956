// The page before any job is open: the starter, the demo jobs, jobs of this folder and recent ones.

import { button, by, make, name } from './dom.js';
import { get, post } from './net.js';

const says = by('says');

async function open(what) {
  says.textContent = 'Opening …';
  try {
    const { url } = await post('/api/open', what);
    location.assign(url);
  } catch (error) {
    says.textContent = `✗ ${error.message}`;
  }
}

const row = (label, what, quiet) => make('li', {}, button(label, () => open(what), { class: 'job' }), quiet ? make('span', { class: 'quiet' }, quiet) : null);

function fill(id, rows, none) {
  by(id).replaceChildren(...(rows.length ? rows : [make('li', { class: 'quiet' }, none)]));
}

const jobs = await get('/api/jobs');
by('folder').textContent = jobs.folder;
const file = by('starter-name');
file.value = jobs.starter.file;
by('starter').addEventListener('click', () => open({ starter: file.value }));
file.addEventListener('keydown', (event) => event.key === 'Enter' && open({ starter: file.value }));
fill('demos', jobs.demos.map((one) => row(name(one.name), { demo: one.id }, one.says)), 'None.');
fill('recent', jobs.recent.map((one) => (one.there ? row(name(one.name), { recent: one.id }, one.path) : make('li', { class: 'quiet' }, name(one.name), ` ${one.path}: not there any more`))), 'None yet.');
fill('here', jobs.here.map((one) => row(name(one.name), { here: one.file }, one.file)), 'None.');
document.documentElement.dataset.ready = 'yes';
