"""Notebooks in JupyterLab itself: its own server, its own kernels, a browser, the menus a user has."""
