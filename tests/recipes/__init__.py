"""How-to recipes: one file each; its docstring is the recipe, its tests do it in a copy.

Read the docstring, do what it says in your checkout, and write the tests that it names. What a
recipe tells stays true because its test edits a copy of the program as told and tries the result.
"""
