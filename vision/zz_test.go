package vision
import ("testing";"os";"fmt";"context";"dentcount/photo";"dentcount/calib";"math/cmplx";"sort")
func TestZZ(t *testing.T){
 fn:=os.Getenv("ZZ"); if fn==""{t.Skip()}
 p,err:=photo.Open(fn); if err!=nil{t.Fatal(err)}
 g,_:=p.Gray()
 r,_,_:=calib.FindRuler(context.Background(),g,calib.Options{})
 s:=r.Scale
 b,_,_:=FindBands(context.Background(),g,s,Options{})
 fmt.Printf("ppi %.1f unit %s/%d b %.2f field %+v\n",s.PxPerIn(),s.Unit,s.Divisions,b.SpectralPerInch,b.Field)
 a,c:=b.Row[0].Along,b.Row[len(b.Row)-1].Along
 if a>c {a,c=c,a}
 m:=mapField(g,s,stretch{s.Frame,a,c},lean{b.Lean[0],b.Lean[1]},tone{PerInch:b.SpectralPerInch},s.PxPerIn())
 for i:=range m.zones[0] {
  var v []float64; n:=0; var mean float64; st:=0
  for j:=range m.zones { if z:=m.zones[j][i]; z!=nil { v=append(v,z.strength()/m.level[j]); mean+=z.mean; if m.banded(j,i){n++}; if m.inStep(j,i,i+1){st++}; _ = cmplx.Abs } }
  if len(v)==0 {continue}
  sort.Float64s(v)
  fmt.Printf("%6.2f  n %d banded %d step %d amp %.2f %.2f %.2f mean %.0f\n",float64(i-m.edge)*fieldZoneIn,len(v),n,st,v[0],v[len(v)/2],v[len(v)-1],mean/float64(len(v)))
 }
}
