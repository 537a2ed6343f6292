"""The notebooks as people use them: in a real browser, in JupyterLab and as pages."""
