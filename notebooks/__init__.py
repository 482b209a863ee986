"""The pages: ``sizing pages`` shows them, ``sizing lab`` lays their code."""
