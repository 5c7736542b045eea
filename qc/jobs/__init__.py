"""What a person asks for, one module each; the only place where the parts of the house meet.

Nothing is fetched here: a command loads only the module it needs, and `import qc` offers the jobs by name.
"""
