"""The live page: a job edited in a browser on this machine, with nothing but the package and no network."""
