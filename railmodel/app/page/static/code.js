// On a tablet: the code that the terminal shows.

import { by } from './dom.js';
import { post } from './net.js';

async function send() {
  try {
    await post('/api/code', { code: by('code').value.trim() });
    location.assign('/');
  } catch (error) {
    by('code').setAttribute('aria-invalid', 'true');
    by('says').textContent = `✗ ${error.message}`;
  }
}

by('send').addEventListener('click', send);
by('code').addEventListener('keydown', (event) => event.key === 'Enter' && send());
document.documentElement.dataset.ready = 'yes';
